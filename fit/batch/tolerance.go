package batch

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

var standardNormal = distuv.UnitNormal

// OneSided is the factor k for which mean + k s of n normal values lies, with
// the confidence given, above the share given of the population; so does mean -
// k s below it. It is exact: k sqrt(n) is the quantile of a noncentral t of n - 1
// degrees of freedom and noncentrality sqrt(n) z(share) (NIST/SEMATECH e-Handbook
// of Statistical Methods, section 7.2.6.3). n is at least 2; share and confidence
// lie between leastShare and mostShare, beyond which the factor may be NaN.
func OneSided(n int, share, confidence float64) float64 {
	z := standardNormal.Quantile(share)
	return solve(func(k float64) float64 { return oneSidedConfidence(n, z, k) }, -1, confidence)
}

// oneSidedConfidence is the chance that mean + k s >= z for n standard normal
// values, integrated over s, in which it is smooth for any k.
func oneSidedConfidence(n int, z, k float64) float64 {
	const reach, points = 10, 200 // what lies beyond is less than 1e-16
	nu, root := float64(n-1), math.Sqrt(float64(n))
	width := reach / math.Sqrt(2*nu)
	logOne, _ := math.Lgamma(nu / 2)
	scale := math.Ln2 + nu/2*math.Log(nu/2) - logOne
	return quad.Fixed(func(s float64) float64 {
		density := math.Exp(scale + (nu-1)*math.Log(s) - nu*s*s/2)
		return density * standardNormal.CDF(root*(k*s-z))
	}, math.Max(0, 1-width), 1+width, points, nil, 0)
}

// TwoSided is the factor k for which mean ± k s of n normal values holds, with the
// confidence given, at least the share given of the population. It is exact, by
// numerical integration over the mean: A. Wald, J. Wolfowitz, Tolerance limits for
// a normal distribution, Ann. Math. Stat. 17, 208 (1946); R. E. Odeh, D. B. Owen,
// Tables for Normal Tolerance Limits, Sampling Plans, and Screening (1980), both
// from memory. It is positive. n, share and confidence are as for OneSided.
func TwoSided(n int, share, confidence float64) float64 {
	return solve(func(k float64) float64 {
		return overMeans(n, func(mean float64) float64 { return deviationAbove(n, halfWidth(mean, share)/k) })
	}, 0, confidence)
}

// halfWidth is how far an interval round mean must reach to hold a share of the
// standard normal distribution. Newton's steps are kept within bounds that hold less
// and more than the share.
func halfWidth(mean, share float64) float64 {
	mean = math.Abs(mean)
	low, high := 0.0, mean+standardNormal.Quantile((1+share)/2)
	r := max(low, mean+standardNormal.Quantile(share)) // holds less than the share, or nearly so
	for range 100 {
		held := standardNormal.CDF(mean+r) - standardNormal.CDF(mean-r)
		if held < share {
			low = r
		} else {
			high = r
		}
		step := (held - share) / (standardNormal.Prob(mean+r) + standardNormal.Prob(mean-r))
		if math.Abs(step) < 1e-13 {
			return r - step
		}
		if r -= step; !(low < r && r < high) {
			r = (low + high) / 2
		}
	}
	return r
}

// TwoSidedApprox is W. G. Howe's approximation to TwoSided (Two-sided tolerance
// limits for normal populations, J. Amer. Statist. Assoc. 64, 610, 1969), as the
// NIST/SEMATECH e-Handbook, section 7.2.6.3, gives it.
func TwoSidedApprox(n int, share, confidence float64) float64 {
	nu := float64(n - 1)
	z := standardNormal.Quantile((1 + share) / 2)
	return z * math.Sqrt(nu*(1+1/float64(n))/distuv.ChiSquared{K: nu}.Quantile(1-confidence))
}

// deviationAbove is the chance that the standard deviation of n standard normal
// values is above s >= 0.
func deviationAbove(n int, s float64) float64 {
	nu := float64(n - 1)
	return mathext.GammaIncRegComp(nu/2, nu*s*s/2)
}

// overMeans integrates a chance over the mean of n standard normal values. What
// lies beyond 8.5 standard errors is less than 1e-16.
func overMeans(n int, chance func(mean float64) float64) float64 {
	const reach, points = 8.5, 200
	root := math.Sqrt(float64(n))
	return quad.Fixed(func(u float64) float64 { return standardNormal.Prob(u) * chance(u/root) }, -reach, reach, points, nil, 0)
}

// leastShare and mostShare bound the shares, confidences and risks that factors are
// worked out for: nearer to 0 and 1 the integrals' rounding would decide.
const (
	leastShare = 1e-6
	mostShare  = 1 - leastShare
)

// solve finds where a function that rises from 0 to 1 has a value. The search begins at
// low, which goes down only where it is negative. A value that the function does not
// take within 1e18 of 0 has no answer: NaN.
func solve(f func(float64) float64, low, value float64) float64 {
	const doublings = 60
	high := 1.0
	for i := 0; f(low) > value; i++ {
		if low == 0 || i == doublings {
			return math.NaN()
		}
		low *= 2
	}
	for i := 0; !(f(high) >= value); i++ {
		if i == doublings {
			return math.NaN()
		}
		high *= 2
	}
	for high-low > 1e-12*math.Max(1, math.Abs(high)) {
		if middle := (low + high) / 2; f(middle) < value {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// firstFrom is by how much n has to grow for a condition to hold, by bisection: once it
// holds it must hold for all larger n. It is not ok when the condition does not hold
// at most.
func firstFrom(n, most int, holds func(int) bool) (more int, ok bool) {
	low, high := n-1, most
	if !holds(high) {
		return 0, false
	}
	for high-low > 1 {
		if m := (low + high) / 2; holds(m) {
			high = m
		} else {
			low = m
		}
	}
	return high - n, true
}
