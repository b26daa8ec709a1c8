package batch

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// anova is a one-way analysis of variance of groups of any sizes.
type anova struct {
	between, within       float64 // sums of squares
	dfBetween, dfWithin   float64
	effective             float64 // values a group stands for, n0; the common size when all are alike
	msBetween, msWithin   float64 // mean squares; NaN without degrees of freedom
	varBetween, varWithin float64 // variance components
}

// oneWay analyses groups by the method of moments: the variance between groups
// is (MSB - MSW)/n0, never below 0, n0 = (N - sum n²/N)/(groups - 1). S. R.
// Searle, G. Casella, C. E. McCulloch, Variance Components (1992), section 3.6,
// from memory. Where groups are of one size and the variance is positive this is
// also the estimate of restricted maximum likelihood. Without a group of two
// values nothing is known of the variance within: it is NaN, and all of the
// scatter counts as between.
//
// Sums are of differences from the first value and then from means, so that values that
// differ in their last digits only lose none of them.
func oneWay(groups [][]float64) anova {
	var all []float64
	var squares float64
	groups = lessFirst(groups)
	for _, g := range groups {
		all = append(all, g...)
		squares += float64(len(g) * len(g))
	}
	n := float64(len(all))
	a := anova{dfBetween: float64(len(groups) - 1), dfWithin: n - float64(len(groups))}
	mean := stat.Mean(all, nil)
	for _, g := range groups {
		m := stat.Mean(g, nil)
		a.between += float64(len(g)) * (m - mean) * (m - mean)
		for _, x := range g {
			a.within += (x - m) * (x - m)
		}
	}
	a.effective = (n - squares/n) / a.dfBetween
	a.msBetween, a.msWithin = a.between/a.dfBetween, a.within/a.dfWithin
	a.varWithin = a.msWithin
	if a.dfWithin == 0 {
		a.varBetween, a.varWithin = a.msBetween/a.effective, math.NaN()
		return a
	}
	a.varBetween = max(0, (a.msBetween-a.msWithin)/a.effective)
	return a
}

// lessFirst are groups less the first value of all, exact where they are near it.
func lessFirst(groups [][]float64) [][]float64 {
	out := make([][]float64, len(groups))
	for i, g := range groups {
		for _, x := range g {
			out[i] = append(out[i], x-groups[0][0])
		}
	}
	return out
}

// p is the chance of an F as large as this one if all groups had one mean.
func (a *anova) p() float64 {
	if a.dfBetween < 1 || a.dfWithin < 1 {
		return math.NaN()
	}
	return distuv.F{D1: a.dfBetween, D2: a.dfWithin}.Survival(a.msBetween / a.msWithin)
}

// interval is one of the standard deviation between groups, at least of the
// confidence given: J. S. Williams, A confidence interval for variance
// components, Biometrika 49, 278 (1962), from memory, for groups of one size; the
// tests measure its coverage. Without variance within it is the usual one by chi-squared.
func (a *anova) interval(confidence float64) Interval {
	tail := (1 - confidence) / 2
	chi := distuv.ChiSquared{K: a.dfBetween}
	low, high := chi.Quantile(1-tail), chi.Quantile(tail)
	ss := [2]float64{a.between, a.between}
	if a.dfWithin > 0 && a.msWithin > 0 {
		f := distuv.F{D1: a.dfBetween, D2: a.dfWithin}
		ss[0] = max(0, a.between-a.dfBetween*a.msWithin*f.Quantile(1-tail))
		ss[1] = max(0, a.between-a.dfBetween*a.msWithin*f.Quantile(tail))
	}
	return Interval{math.Sqrt(ss[0] / (a.effective * low)), math.Sqrt(ss[1] / (a.effective * high))}
}
