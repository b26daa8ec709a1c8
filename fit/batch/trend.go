package batch

import (
	"math"
	"slices"
)

// trendOf is the Mann-Kendall test of the values in order (H. B. Mann,
// Nonparametric tests against trend, Econometrica 13, 245, 1945; M. G. Kendall,
// Rank Correlation Methods), by the normal approximation with ties and
// correction for continuity, which is good from ten values on; the slope is P. K.
// Sen's (Estimates of the regression coefficient based on Kendall's tau, J. Amer.
// Statist. Assoc. 63, 1379, 1968). It looks for no shape, and one odd magnet does
// not sway it. All from memory.
func trendOf(values []float64, alpha float64) Trend {
	n := len(values)
	var score int
	slopes := make([]float64, 0, n*(n-1)/2)
	for j := range values {
		for i := range j {
			d := values[j] - values[i]
			slopes = append(slopes, d/float64(j-i))
			score += sign(d)
		}
	}
	slices.Sort(slopes)
	t := Trend{Slope: middle(slopes)}
	t.Across = t.Slope * float64(n-1)
	t.P = 1
	if variance := kendallVariance(values); score != 0 && variance > 0 {
		z := (math.Abs(float64(score)) - 1) / math.Sqrt(variance)
		t.P = 2 * standardNormal.Survival(z)
	}
	t.Drifts = t.P < alpha
	return t
}

// kendallVariance is that of Kendall's score where there is no trend.
func kendallVariance(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	term := func(n float64) float64 { return n * (n - 1) * (2*n + 5) / 18 }
	v := term(float64(len(sorted)))
	for i := 0; i < len(sorted); {
		j := i
		for j < len(sorted) && sorted[j] == sorted[i] {
			j++
		}
		v -= term(float64(j - i))
		i = j
	}
	return v
}

func sign(x float64) int {
	switch {
	case x > 0:
		return 1
	case x < 0:
		return -1
	}
	return 0
}

// middle is the median of sorted values.
func middle(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}
