package drift

import "math"

// The charts with a memory, which show a small lasting shift sooner than Shewhart's,
// and the run rules, which look at several points of Shewhart's at once.

// ewma is the exponentially weighted moving average of values from a start, and
// its standard deviation, when each value has that in sd: the one of the values so
// far, not the limit (J. S. Hunter, 1986; NIST/SEMATECH e-Handbook 6.3.2.4).
func ewma(x, sd []float64, start, lambda float64) (average, deviation []float64) {
	z, v := start, 0.0
	for i := range x {
		z = lambda*x[i] + (1-lambda)*z
		v = lambda*lambda*sd[i]*sd[i] + (1-lambda)*(1-lambda)*v
		average, deviation = append(average, z), append(deviation, math.Sqrt(v))
	}
	return average, deviation
}

// cusum is the tabular cumulative sum of what values exceed the target by more
// than k, and of what they fall short of it by more than k; neither below 0
// (NIST/SEMATECH e-Handbook 6.3.2.3). since is where each sum last left 0: an
// estimate of when the shift began (D. C. Montgomery, Introduction to Statistical
// Quality Control, chapter on cumulative sums, from memory).
func cusum(x []float64, target, k float64) (high, low []float64, sinceHigh, sinceLow []int) {
	var h, l float64
	hi, lo := 0, 0
	for i, v := range x {
		if h == 0 {
			hi = i
		}
		if l == 0 {
			lo = i
		}
		h, l = max(0, h+v-target-k), max(0, l+target-v-k)
		high, low = append(high, h), append(low, l)
		sinceHigh, sinceLow = append(sinceHigh, hi), append(sinceLow, lo)
	}
	return high, low, sinceHigh, sinceLow
}

// runRule is one of the run rules of Western Electric, Statistical Quality
// Control Handbook, 1956, as the NIST/SEMATECH e-Handbook 6.3.2 gives them: so
// many of the last points beyond so many standard deviations, on one side.
type runRule struct {
	name      string
	of        int // of the last
	need      int
	threshold float64
}

var runRules = []runRule{
	{"one beyond 3 sigma", 1, 1, sigmas},
	{"two of three beyond 2 sigma", 3, 2, 2},
	{"four of five beyond 1 sigma", 5, 4, 1},
	{"eight in a row on one side", 8, 8, 0},
}

// fires tells whether the rule fires at the last of z, which are in standard deviations
// from the centre, on the side that is +1 or -1. The last point must itself be beyond
// the threshold.
func (r *runRule) fires(z []float64, side float64) bool {
	n := len(z)
	if n < r.of || side*z[n-1] <= r.threshold {
		return false
	}
	count := 0
	for _, v := range z[n-r.of:] {
		if side*v > r.threshold {
			count++
		}
	}
	return count >= r.need
}
