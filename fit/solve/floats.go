package solve

import "math"

// Finite reports whether v is a number and not infinite.
func Finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// Square is v^2.
func Square(v float64) float64 { return v * v }

// powerOfTwo is the least power of two above a positive number: to divide by it rounds
// nothing.
func powerOfTwo(v float64) float64 {
	_, exponent := math.Frexp(v)
	return math.Ldexp(1, exponent)
}

// SumSquares is the sum of the squares of values.
func SumSquares(values []float64) float64 {
	var s float64
	for _, v := range values {
		s += v * v
	}
	return s
}

// Mean is the arithmetic mean; 0 of no value.
func Mean(values []float64) float64 {
	var mean float64
	for _, v := range values {
		mean += v / float64(len(values))
	}
	return mean
}

// Centred returns values less their mean.
func Centred(values []float64) []float64 {
	mean := Mean(values)
	out := make([]float64, len(values))
	for i, v := range values {
		out[i] = v - mean
	}
	return out
}
