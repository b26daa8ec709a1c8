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
func RobustMean(values []float64) (mean, sd float64) {
	slices.Sort(values)
	mean = Median(values)
	scale := MADScale * medianDistance(values, mean)
	if scale == 0 { // more than half of the values are one
		scale = StdDev(values)
	}
	if scale == 0 {
		return mean, 0
	}
	// Newton's steps end as soon as the same values are clipped as before. Plain ones, of
	// which each leaves the share of values that are clipped of the error, end in any case.
	const newton, iterations = 20, 100
	d := clip(values, mean, scale)
	for i := range iterations {
		over := float64(d.free)
		if i >= newton || d.free == 0 {
			over = float64(len(values))
		}
		step := scale * d.sum / over
		mean += step
		d = clip(values, mean, scale)
		if math.Abs(step) < 1e-13*scale {
			break
		}
	}
	return mean, scale * d.sd(len(values))
}

// distances sums up distances from a mean in units of a scale, clipped.
type distances struct {
	sum, squares float64
	free         int // that are not clipped
}

func clip(values []float64, mean, scale float64) (d distances) {
	for _, v := range values {
		x := (v - mean) / scale
		switch {
		case x >= huberClip: // quicker than min and max, which look at signs of zeros
			x = huberClip
		case x <= -huberClip:
			x = -huberClip
		default:
			d.free++
		}
		d.sum += x
		d.squares += x * x
	}
	return d
}

// sd is the deviation of one of n values.
func (d *distances) sd(n int) float64 {
	sd := math.Sqrt(d.squares / float64(n-1))
	if d.free == 0 {
		return sd
	}
	return sd * float64(n) / float64(d.free)
}

// Median of sorted values.
func Median(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

// MedianDistance is the median absolute deviation from centre.
func MedianDistance(values []float64, centre float64) float64 {
	sorted := slices.Clone(values)
	slices.Sort(sorted)
	return medianDistance(sorted, centre)
}

// medianDistance is that of sorted values, of which the farthest stand at the ends: they
// are taken off up to the middle.
func medianDistance(sorted []float64, centre float64) float64 {
	farthest := func() (d float64) {
		first, last := centre-sorted[0], sorted[len(sorted)-1]-centre
		if first > last {
			sorted = sorted[1:]
			return math.Abs(first)
		}
		sorted = sorted[:len(sorted)-1]
		return math.Abs(last)
	}
	n := len(sorted)
	for len(sorted) > n/2+1 {
		farthest()
	}
	upper := farthest()
	if n%2 == 1 {
		return upper
	}
	return (upper + farthest()) / 2
}

// StdDev is the standard deviation; 0 of fewer than two values.
func StdDev(values []float64) float64 {
	_, sd := MeanStdDev(values)
	return sd
}

// MeanStdDev is the mean, and the standard deviation; 0 of fewer than two values.
func MeanStdDev(values []float64) (mean, sd float64) {
	mean, sd = stat.MeanStdDev(values, nil)
	if len(values) < 2 {
		sd = 0
	}
	return mean, sd
}
