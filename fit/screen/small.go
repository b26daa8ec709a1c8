package screen

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// Small dense matrices, row by row in one slice; of symmetric ones the lower triangle
// is read. A levelModel factorises thousands of them, of a few rows each.

// grown is a slice of zeros, the old one if it has room.
func grown(s []float64, n int) []float64 {
	if cap(s) < n {
		return make([]float64, n, n+n/2)
	}
	s = s[:n]
	clear(s)
	return s
}

// factorise turns a symmetric matrix into its Cholesky factor in place; false where it
// is not positive definite.
func factorise(a []float64, n int) bool {
	for i := range n {
		row := a[i*n : i*n+i+1]
		for j := range i {
			of := a[j*n : j*n+j+1]
			row[j] = (row[j] - inner(row[:j], of)) / of[j]
		}
		d := row[i] - inner(row[:i], row)
		if !(d > 0) || math.IsInf(d, 1) {
			return false
		}
		row[i] = math.Sqrt(d)
	}
	return true
}

// halfSolve solves L y = x in place, with a Cholesky factor L.
func halfSolve(l []float64, n int, x []float64) {
	for i := range n {
		x[i] = (x[i] - inner(l[i*n:i*n+i], x)) / l[i*n+i]
	}
}

// solveWith solves L L' y = x in place.
func solveWith(l []float64, n int, x []float64) {
	halfSolve(l, n, x)
	for i := n - 1; i >= 0; i-- {
		x[i] /= l[i*n+i]
		v := x[i]
		for j, w := range l[i*n : i*n+i] {
			x[j] -= v * w
		}
	}
}

// invert writes the inverse of L L' into out, both triangles. inv is as much memory.
func invert(l []float64, n int, out, inv []float64) {
	// The columns of L^-1 are the rows of inv first, then out becomes their product.
	for i := range n {
		inv[i*n+i] = 1 / l[i*n+i]
		for k := i + 1; k < n; k++ {
			inv[i*n+k] = -inner(l[k*n+i:k*n+k], inv[i*n+i:i*n+k]) / l[k*n+k]
		}
	}
	for i := range n {
		for j := range i + 1 {
			v := inner(inv[i*n+i:i*n+n], inv[j*n+i:j*n+n])
			out[i*n+j], out[j*n+i] = v, v
		}
	}
}

// longVector is from what length on gonum's loops are worth their call.
const longVector = 12

// inner is the sum of products of two vectors; b may be the longer one.
func inner(a, b []float64) float64 {
	b = b[:len(a)]
	if len(a) >= longVector {
		return floats.Dot(a, b)
	}
	var s, t float64
	i := 0
	for ; i+1 < len(a); i += 2 {
		s += a[i] * b[i]
		t += a[i+1] * b[i+1]
	}
	if i < len(a) {
		s += a[i] * b[i]
	}
	return s + t
}

// addScaled adds a multiple of b to a, which is no longer.
func addScaled(a []float64, v float64, b []float64) {
	b = b[:len(a)]
	if len(a) >= longVector {
		floats.AddScaled(a, v, b)
		return
	}
	for i := range a {
		a[i] += v * b[i]
	}
}

// quadratic is a' M b for a full matrix.
func quadratic(a, m, b []float64) float64 {
	n := len(b)
	var s float64
	for i, v := range a {
		if v != 0 {
			s += v * inner(b, m[i*n:i*n+n])
		}
	}
	return s
}

// median is that of values, which it puts into another order.
func median(values []float64) float64 {
	k := len(values) / 2
	low, high := 0, len(values)-1
	for low < high { // C. A. R. Hoare, Communications of the ACM 4 (7), 1961: Find
		pivot, i, j := values[(low+high)/2], low, high
		for i <= j {
			for values[i] < pivot {
				i++
			}
			for values[j] > pivot {
				j--
			}
			if i <= j {
				values[i], values[j] = values[j], values[i]
				i++
				j--
			}
		}
		if k <= j {
			high = j
		} else if k >= i {
			low = i
		} else {
			break
		}
	}
	if len(values)%2 > 0 {
		return values[k]
	}
	return (slices.Max(values[:k]) + values[k]) / 2
}
