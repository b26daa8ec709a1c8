package batch

import "math"

// trendOf is the Mann-Kendall test of the values in order (H. B. Mann,
// Nonparametric tests against trend, Econometrica 13, 245, 1945; M. G. Kendall,
// Rank Correlation Methods), by the normal approximation with ties and
// correction for continuity, which is good from ten values on; the slope is P. K.
// Sen's (Estimates of the regression coefficient based on Kendall's tau, J. Amer.
// Statist. Assoc. 63, 1379, 1968). It looks for no shape, and one odd magnet does
// not sway it. All from memory.
func trendOf(values []float64, alpha float64) Trend {
	s := newSlopes(values)
	score := s.score()
	t := Trend{Slope: s.median()}
	t.Across = t.Slope * float64(len(values)-1)
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
	term := func(n float64) float64 { return n * (n - 1) * (2*n + 5) / 18 }
	v := term(float64(len(values)))
	for _, n := range ties(values) {
		v -= term(float64(n))
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
