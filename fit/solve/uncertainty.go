package solve

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Part is one independent contribution to a combined variance.
type Part struct {
	Variance float64
	DOF      float64 // degrees of freedom of its estimate; infinite when it is taken as known
}

// Combine adds variances (JCGM 100:2008, Evaluation of measurement data: guide to
// the expression of uncertainty in measurement, 5.1.2) and works out the effective
// degrees of freedom of the sum by the Welch-Satterthwaite formula (G.4.1,
// equation G.2b). Parts without a variance do not count; degrees of freedom are
// not rounded.
func Combine(parts ...Part) Part {
	var sum, weight float64
	for _, p := range parts {
		sum += p.Variance
		if p.Variance != 0 {
			weight += p.Variance * p.Variance / p.DOF
		}
	}
	if weight == 0 {
		return Part{sum, math.Inf(1)}
	}
	return Part{sum, sum * sum / weight}
}

// Expand returns the standard uncertainty, the coverage factor and the expanded
// uncertainty. All are NaN when the variance is not known.
func (p Part) Expand(coverage float64) (u, k, expanded float64) {
	u = math.Sqrt(p.Variance)
	if math.IsNaN(u) {
		return u, u, u
	}
	k = CoverageFactor(p.DOF, coverage)
	return u, k, k * u
}

// CoverageFactor is Student's t for a two-sided interval of so much coverage (JCGM
// 100:2008, G.3).
func CoverageFactor(dof, coverage float64) float64 {
	const asGoodAsInfinite = 1e6
	if dof > asGoodAsInfinite {
		return distuv.UnitNormal.Quantile((1 + coverage) / 2)
	}
	return distuv.StudentsT{Sigma: 1, Nu: dof}.Quantile((1 + coverage) / 2)
}
