package batch

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// extreme is one step of the generalised ESD test.
type extreme struct {
	index               int // among the values
	statistic, critical float64
}

// esd is the generalised extreme studentised deviate test for at most so many
// outliers among normal values, on both sides, at significance alpha: B. Rosner,
// Percentage points for a generalized ESD many-outlier procedure, Technometrics
// 25, 165 (1983). With most = 1 it is F. E. Grubbs' test (Procedures for
// detecting outlying observations in samples, Technometrics 11, 1, 1969). It
// returns all steps, and how many of the first are outliers: a step that does not
// stand out alone may hide behind the next, and counts when that one does.
func esd(values []float64, most int, alpha float64) (steps []extreme, outliers int) {
	left := make([]int, len(values))
	for i := range left {
		left[i] = i
	}
	for len(left) > 2 && len(steps) < most {
		var rest []float64
		for _, i := range left {
			rest = append(rest, values[i])
		}
		mean, sd := stat.MeanStdDev(rest, nil)
		if sd == 0 {
			break
		}
		far := 0
		for j, x := range rest {
			if math.Abs(x-mean) > math.Abs(rest[far]-mean) {
				far = j
			}
		}
		e := extreme{left[far], math.Abs(rest[far]-mean) / sd, criticalDeviate(len(left), alpha)}
		steps = append(steps, e)
		if e.statistic > e.critical {
			outliers = len(steps)
		}
		left = slices.Delete(left, far, far+1)
	}
	return steps, outliers
}

// criticalDeviate is the two-sided critical value of Grubbs' statistic of n values.
func criticalDeviate(n int, alpha float64) float64 {
	m := float64(n)
	t := distuv.StudentsT{Sigma: 1, Nu: m - 2}.Quantile(1 - alpha/(2*m))
	return (m - 1) * t / math.Sqrt(m*(m-2+t*t))
}

// mostOutliers is for how many outliers n magnets are tested: one below 15, for
// which Rosner's approximation is poor (as he says of small samples, from
// memory), then a tenth, two at least and ten at most (our rule).
func mostOutliers(n int) int {
	if n < 15 {
		return 1
	}
	return min(max(2, n/10), 10)
}
