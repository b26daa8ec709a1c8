package solve

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Posterior is a Mixed solved at given standard deviations: what covariances of
// its unknowns are read from. Terms have one covariate each.
type Posterior struct {
	m      *Mixed
	s      *solution
	shared mat.SymDense
}

// Posterior solves the model at given standard deviations, its own and those of
// its terms.
func (m *Mixed) Posterior(sigma float64, sds []float64) (*Posterior, error) {
	if err := m.prepare(); err != nil {
		return nil, err
	}
	s, err := m.solve(append([]float64{math.Log(sigma)}, sds...))
	if err != nil {
		return nil, err
	}
	p := &Posterior{m: m, s: s}
	if err := s.chol.InverseTo(&p.shared); err != nil {
		return nil, errNotDefinite
	}
	return p, nil
}

// Levels is how many levels a term has.
func (p *Posterior) Levels(term int) int { return p.m.Terms[term].levels }

// Shared is the covariance of the unknowns that all groups share: the fixed
// effects, then the levels of the terms that are not local. SharedPlace says where
// a level stands.
func (p *Posterior) Shared() *mat.SymDense { return &p.shared }

// SharedPlace says where a level of a term that is not local stands in Shared, and
// what to multiply it by for its own unit.
func (p *Posterior) SharedPlace(term, level int) (at int, scale float64) {
	return p.s.lay.at[term] + level, p.s.factors[term].At(0, 0)
}

// Place is where a level of a local term stands among the unknowns of its group,
// and what to multiply it by for its own unit.
type Place struct {
	group, at int
	scale     float64
}

// LocalPlace finds a level of a local term.
func (p *Posterior) LocalPlace(term, level int) Place {
	lay := p.s.lay
	return Place{lay.group[term][level], lay.local[term][level], p.s.factors[term].At(0, 0)}
}

// SDs returns the posterior standard deviation of each level of a term, in its
// own unit.
func (p *Posterior) SDs(term int) ([]float64, error) {
	lay := p.s.lay
	scale := math.Abs(p.s.factors[term].At(0, 0))
	out := make([]float64, p.Levels(term))
	for l := range out {
		var v float64
		if lay.at[term] >= 0 {
			v = p.shared.At(lay.at[term]+l, lay.at[term]+l)
		} else {
			var err error
			if v, err = p.localVariance(lay.group[term][l], lay.local[term][l]); err != nil {
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
	var own, through mat.VecDense
	if err := b.chol.SolveVecTo(&own, unit); err != nil {
		return 0, errNotDefinite
	}
	row := b.w.RowView(at)
	through.MulVec(&p.shared, row)
	return own.AtVec(at) + mat.Dot(row, &through), nil
}

// Given tells of sums of unknowns of one group, each of some places, what is left
// unsure of them once the shared unknowns are known: their covariance, and by how
// much each shared unknown, as it stands in Shared, takes away from each sum.
func (p *Posterior) Given(sums [][]Place) (*mat.SymDense, *mat.Dense, error) {
	n := len(sums)
	block := p.s.blocks[sums[0][0].group]
	local := mat.NewDense(n, len(block.local), nil)
	for i, places := range sums {
		for _, e := range places {
			local.Set(i, e.at, e.scale)
		}
	}
	var solved, part, shift mat.Dense
	if err := block.chol.SolveTo(&solved, local.T()); err != nil {
		return nil, nil, errNotDefinite
	}
	part.Mul(local, &solved)
	shift.Mul(local, &block.w)
	cov := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			cov.SetSym(i, k, part.At(i, k))
		}
	}
	return cov, &shift, nil
}

// Unseen is the covariance of the errors with which observations are predicted
// that have no weight, and whose groups have no others.
func (p *Posterior) Unseen(observations []int) *mat.SymDense {
	n := len(observations)
	shared := mat.NewDense(n, p.s.lay.nshared, nil)
	local := make([][]entry, n)
	for i, at := range observations {
		own, rest := p.m.row(at, p.s.lay, p.s.factors, nil, nil)
		local[i] = own
		for _, e := range rest {
			shared.Set(i, e.at, e.v)
		}
	}
	var half, full mat.Dense
	half.Mul(shared, &p.shared)
	full.Mul(&half, shared.T())
	cov := mat.NewSymDense(n, nil)
	for i := range observations {
		for j := i; j < n; j++ {
			cov.SetSym(i, j, full.At(i, j)+dot(local[i], local[j]))
		}
		cov.SetSym(i, i, cov.At(i, i)+p.m.noise(p.s.sigma, observations[i]))
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
