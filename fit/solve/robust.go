package solve

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// Huber's M-estimator of location clips what lies further from the mean than
// huberClip robust standard deviations. 1.345 keeps 95 % of the mean's
// efficiency when the values are normal and many (P. J. Huber, Robust
// estimation of a location parameter, Ann. Math. Stat. 35, 1964; the figure is
// the usual one for this clip, from memory: the tests measure it).
const (
	huberClip = 1.345
	MADScale  = 1.4826 // median absolute deviation to standard deviation, normal values
)

// RobustMean returns Huber's mean of values, with the normalised median
// absolute deviation as scale, and the standard deviation of one value that
// the mean stands for: sd/sqrt(n) is the mean's standard error (P. J. Huber,
// Robust Statistics, 1981, section 6.6, from memory). The deviation of a single
// value is 0. Values are sorted in place, so that their order does not matter.
func RobustMean(values []float64) (mean, sd float64) { return new(Robust).Mean(values) }

// Robust makes robust means of one list of values after the other in the same memory.
type Robust struct{ work []float64 }

// Mean is [RobustMean].
func (r *Robust) Mean(values []float64) (mean, sd float64) {
	slices.Sort(values)
	r.work = slices.Grow(r.work[:0], len(values))[:len(values)]
	mean = Median(values)
	scale := MADScale * medianDistance(r.work, values, mean)
	if scale == 0 { // more than half of the values are one
		scale = StdDev(values)
	}
	if scale == 0 {
		return mean, 0
	}
	const iterations = 100 // each leaves the share of values that are clipped of the error
	for range iterations {
		step := scale * stat.Mean(clipped(r.work, values, mean, scale), nil)
		mean += step
		if math.Abs(step) < 1e-13*scale {
			break
		}
	}
	return mean, scale * huberSD(clipped(r.work, values, mean, scale))
}

// clipped makes of values their distances from mean in units of scale, clipped.
func clipped(to, values []float64, mean, scale float64) []float64 {
	to = to[:len(values)]
	for i, v := range values {
		d := (v - mean) / scale
		if d > huberClip { // quicker than min and max, which look at signs of zeros
			d = huberClip
		} else if d < -huberClip {
			d = -huberClip
		}
		to[i] = d
	}
	return to
}

// huberSD is the deviation of one value, from clipped distances.
func huberSD(psi []float64) float64 {
	var free float64
	for _, p := range psi {
		if math.Abs(p) < huberClip {
			free++
		}
	}
	n := float64(len(psi))
	if free == 0 {
		return math.Sqrt(SumSquares(psi) / (n - 1))
	}
	return math.Sqrt(SumSquares(psi)/(n-1)) * n / free
}

// Median of sorted values.
func Median(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

// MedianDistance is the median absolute deviation from centre.
func MedianDistance(values []float64, centre float64) float64 {
	return medianDistance(make([]float64, len(values)), values, centre)
}

func medianDistance(work, values []float64, centre float64) float64 {
	for i, v := range values {
		work[i] = math.Abs(v - centre)
	}
	slices.Sort(work)
	return Median(work)
}

// StdDev is the standard deviation; 0 of fewer than two values.
func StdDev(values []float64) float64 {
	if len(values) < 2 {
		return 0
	}
	return stat.StdDev(values, nil)
}
