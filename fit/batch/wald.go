package batch

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// A batch may be looked at after every magnet, and decided on at the first look that
// tells, so that the risks of all looks add up. The record does not say when anybody
// looked. Therefore the limits here hold at every number of magnets together.
//
// They are those of A. Wald's sequential test (Sequential tests of statistical
// hypotheses, Ann. Math. Stat. 16, 117, 1945), here on the distance from mean to limit in
// standard deviations (the sequential t test: S. Rushton, On a sequential t-test,
// Biometrika 37, 326, 1950; both cited from memory). The ratio of the densities that this
// distance has in a batch as ordered and in one that is not is on average 1 in the
// latter, whatever came before; so the chance that it ever reaches 1/r there is r at most
// (J. Ville's inequality), however many magnets are measured, and the other way round.
// Wald's limits take a share of either risk, the plan that always decides the rest.
//
// With two limits each number of magnets is given the risk that it has with one, and the
// factors of bothlimits.go keep it for every split; that the risks of all looks together
// are then kept as well is shown by simulation (the tests), and not proven.

// waldShare is the share of either risk that Wald's limits take (our choice): more of it
// decides clear batches earlier, less of it makes the plan shorter.
const waldShare = 0.2

// waldAccept is the distance from mean to limit in standard deviations from which n
// magnets are accepted; +Inf when none is enough.
func (s sampling) waldAccept(n int) float64 {
	k := s.distance(n, -math.Log(s.Consumer))
	if !s.both || math.IsInf(k, 0) {
		return k
	}
	s.Consumer = max(leastShare, 1-oneSidedConfidence(n, standardNormal.Quantile(1-s.Limiting), k))
	return acceptBoth(n, k, s.Risks)
}

// waldReject is the distance below which n magnets are rejected; -Inf when none is.
func (s sampling) waldReject(n int) float64 {
	k := s.distance(n, math.Log(s.Producer))
	if !s.both || math.IsInf(k, 0) {
		return k
	}
	s.Producer = max(leastShare, oneSidedConfidence(n, standardNormal.Quantile(1-s.Acceptable), k))
	return rejectBoth(n, k, s.Risks)
}

// distance is that at which the ratio of densities has a logarithm; infinite when it
// has it nowhere.
func (s sampling) distance(n int, logRatio float64) float64 {
	good, bad := standardNormal.Quantile(1-s.Acceptable), standardNormal.Quantile(1-s.Limiting)
	ratio := func(k float64) float64 { return logDensity(n, k, good) - logDensity(n, k, bad) }
	const far = 1e6
	switch {
	case ratio(far) <= logRatio:
		return math.Inf(1)
	case ratio(-far) >= logRatio:
		return math.Inf(-1)
	}
	return solve(ratio, -1, logRatio)
}

// logDensity is the logarithm of the density at k of the distance from a limit to the
// mean of n values in their standard deviations, when the true one is z, up to what does
// not depend on z. By completing the square it is an integral over the standard
// deviation, s, of s^(n-1) exp(-(s - eta)²/2).
func logDensity(n int, k, z float64) float64 {
	const reach, points = 9, 100 // what lies beyond is less than 1e-17 of it
	m := float64(n - 1)
	eta := float64(n) * k * z / math.Sqrt(float64(n)*k*k+m)
	top := (eta + math.Sqrt(eta*eta+4*m)) / 2
	f := func(s float64) float64 { return m*math.Log(s) - (s-eta)*(s-eta)/2 }
	sum := quad.Fixed(func(s float64) float64 { return math.Exp(f(s) - f(top)) }, math.Max(0, top-reach), top+reach, points, nil, 0)
	return math.Log(sum) + f(top) + eta*eta/2 - float64(n)*z*z/2
}
