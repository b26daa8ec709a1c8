package solve

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Posterior is a Mixed solved at given standard deviations: what covariances of
// its unknowns are read from. Terms have one covariate each.
type Posterior struct {
	s      *solution
	shared mat.SymDense
}

// Posterior solves the model at given standard deviations, its own and those of
// its terms.
func (m *Mixed) Posterior(sigma float64, sds []float64) (*Posterior, error) {
	s, err := m.solveAt(sigma, sds)
	if err != nil {
		return nil, err
	}
	p := &Posterior{s: s}
	if err := s.sharedInverse(&p.shared); err != nil {
		return nil, err
	}
	return p, nil
}

// Levels is how many levels a term has.
func (p *Posterior) Levels(term int) int { return p.s.levels[term] }

// Shared is the covariance of the unknowns that all groups share: the fixed
// effects, then the levels of the terms that are not local. SharedPlace says where
// a level stands.
func (p *Posterior) Shared() *mat.SymDense { return &p.shared }

// SharedPlace says where a level of a term that is not local stands in Shared, and
// what to multiply it by for its own unit.
func (p *Posterior) SharedPlace(term, level int) (at int, scale float64) {
	return p.s.at[term] + level, p.s.factors[term].At(0, 0)
}

// Place is where a level of a local term stands among the unknowns of its group,
// and what to multiply it by for its own unit.
type Place struct {
	group, at int
	scale     float64
}

// LocalPlace finds a level of a local term.
func (p *Posterior) LocalPlace(term, level int) Place {
	return Place{p.s.group[term][level], p.s.local[term][level], p.s.factors[term].At(0, 0)}
}

// SDs returns the posterior standard deviation of each level of a term, in its
// own unit.
func (p *Posterior) SDs(term int) ([]float64, error) {
	scale := math.Abs(p.s.factors[term].At(0, 0))
	out := make([]float64, p.Levels(term))
	for l := range out {
		var v float64
		if p.s.at[term] >= 0 {
			v = p.shared.At(p.s.at[term]+l, p.s.at[term]+l)
		} else {
			var err error
			if v, err = p.localVariance(p.s.group[term][l], p.s.local[term][l]); err != nil {
				return nil, err
			}
		}
		out[l] = scale * math.Sqrt(v)
	}
	return out, nil
}

// localVariance is the posterior variance of one unknown of a group, by the block
// inverse: a^-1 + w V w'.
func (p *Posterior) localVariance(group, at int) (float64, error) {
	b := p.s.blocks[group]
	n := len(b.local)
	unit := mat.NewVecDense(n, nil)
	unit.SetVec(at, 1)
	var inverse, through mat.VecDense
	if err := b.chol.SolveVecTo(&inverse, unit); err != nil {
		return 0, errNotDefinite
	}
	row := b.w.RowView(at)
	through.MulVec(&p.shared, row)
	return inverse.AtVec(at) + mat.Dot(row, &through), nil
}

// Given returns the conditional distribution, the shared unknowns given, of sums of
// unknowns of one group, each sum over some places: their covariance, and by how
// much one unit of each shared unknown, in the order of Shared, lowers each sum.
func (p *Posterior) Given(sums [][]Place) (*mat.SymDense, *mat.Dense, error) {
	n := len(sums)
	blk := p.s.blocks[sums[0][0].group]
	local := mat.NewDense(n, len(blk.local), nil)
	for i, places := range sums {
		for _, e := range places {
			local.Set(i, e.at, e.scale)
		}
	}
	var solved, part, shift mat.Dense
	if err := blk.chol.SolveTo(&solved, local.T()); err != nil {
		return nil, nil, errNotDefinite
	}
	part.Mul(local, &solved)
	shift.Mul(local, &blk.w)
	cov := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			cov.SetSym(i, k, part.At(i, k))
		}
	}
	return cov, &shift, nil
}

// Unseen is the covariance of the prediction errors of observations of weight 0
// whose groups have no observation of another weight: those that the fit has not
// seen.
func (p *Posterior) Unseen(observations []int) *mat.SymDense {
	n := len(observations)
	shared := mat.NewDense(n, p.s.nShared, nil)
	local := make([][]entry, n)
	for i, at := range observations {
		var common []entry
		local[i], common = p.s.row(at, p.s.factors, nil, nil)
		for _, e := range common {
			shared.Set(i, e.at, e.v)
		}
	}
	propagated := Propagated(shared, &p.shared)
	cov := mat.NewSymDense(n, nil)
	for i := range observations {
		for j := i; j < n; j++ {
			cov.SetSym(i, j, propagated.At(i, j)+dot(local[i], local[j]))
		}
		cov.SetSym(i, i, cov.At(i, i)+p.s.noise(p.s.sigma, observations[i]))
	}
	return cov
}

// dot is the product of two rows of unknowns that are independent and of
// variance 1.
func dot(a, b []entry) float64 {
	var sum float64
	for _, e := range a {
		for _, f := range b {
			if e.at == f.at {
				sum += e.v * f.v
			}
		}
	}
	return sum
}
