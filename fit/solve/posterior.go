package solve

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// Posterior is a Mixed solved at given standard deviations: what covariances of
// its unknowns are read from. Terms have one covariate each.
type Posterior struct {
	s      *solution
	shared *mat.SymDense
}

// Posterior solves the model at given standard deviations, its own and those of
// its terms.
func (m *Mixed) Posterior(sigma float64, sds []float64) (*Posterior, error) {
	s, err := m.solveAt(sigma, sds)
	if err != nil {
		return nil, err
	}
	return &Posterior{s, s.shared.inverse(max(s.nShared, 1))}, nil
}

// groupInverse is what the unknowns of one group are like, the shared ones given: their
// equations, factorised, and by how much one unit of each shared unknown lowers each.
type groupInverse struct {
	chol mat.Cholesky
	w    mat.Dense
}

// inverse works out a group's. It costs the cube of the group's unknowns: callers ask for
// a few groups.
func (p *Posterior) inverse(group int) (*groupInverse, error) {
	s := p.s
	n := s.sizes[group]
	a, b := mat.NewSymDense(n, nil), mat.NewDense(n, max(s.nShared, 1), nil)
	for i := range n {
		a.SetSym(i, i, 1)
	}
	var r row
	for _, i := range s.order[s.begin[group]:s.begin[group+1]] {
		r.write(s, i)
		own, shared := r.split(s.layout, i)
		for x, e := range own {
			for _, f := range own[x:] {
				a.SetSym(e.at, f.at, a.At(e.at, f.at)+s.weight[i]*e.v*f.v)
			}
			for _, f := range shared {
				b.Set(e.at, f.at, b.At(e.at, f.at)+s.weight[i]*e.v*f.v)
			}
		}
	}
	inv := &groupInverse{}
	if !inv.chol.Factorize(a) {
		return nil, errNotDefinite
	}
	if err := inv.chol.SolveTo(&inv.w, b); err != nil {
		return nil, errNotDefinite
	}
	return inv, nil
}

// split parts a row into the group's unknowns, leaves among them, and the shared ones.
func (r *row) split(lay *layout, i int) (own, shared []entry) {
	own = slices.Clone(r.own)
	if l := lay.leafOf(i); l >= 0 {
		own = append(own, entry{lay.local[lay.leaf][l], r.leaf})
	}
	for j, v := range r.fixed {
		shared = append(shared, entry{j, v})
	}
	return own, append(shared, r.shared...)
}

// Levels is how many levels a term has.
func (p *Posterior) Levels(term int) int { return p.s.levels[term] }

// Shared is the covariance of the unknowns that all groups share: the fixed
// effects, then the levels of the terms that are not local. SharedPlace says where
// a level stands.
func (p *Posterior) Shared() *mat.SymDense { return p.shared }

// SharedPlace says where a level of a term that is not local stands in Shared, and
// what to multiply it by for its own unit. at is -1 where one group alone has the level and
// so many are shared that it is taken for that group's own.
func (p *Posterior) SharedPlace(term, level int) (at int, scale float64) {
	return p.s.places[term][level], p.s.factors[term][0]
}

// Place is where a level of a local term stands among the unknowns of its group,
// and what to multiply it by for its own unit.
type Place struct {
	group, at int
	scale     float64
}

// LocalPlace finds a level of a local term.
func (p *Posterior) LocalPlace(term, level int) Place {
	return Place{p.s.group[term][level], p.s.local[term][level], p.s.factors[term][0]}
}

// SDs returns the posterior standard deviation of each level of a term, in its
// own unit.
func (p *Posterior) SDs(term int) []float64 {
	scale := math.Abs(p.s.factors[term][0])
	out := make([]float64, p.Levels(term))
	w := inverseWork{s: p.s, shared: dense(p.shared)}
	variances := make([][]float64, len(p.s.sizes))
	for l := range out {
		if at := p.s.places[term][l]; at >= 0 {
			out[l] = scale * math.Sqrt(p.shared.At(at, at))
			continue
		}
		if p.s.local[term][l] == noUnknown { // no observation has it
			out[l] = scale
			continue
		}
		g := p.s.group[term][l]
		if variances[g] == nil {
			variances[g] = w.variances(g)
		}
		out[l] = scale * math.Sqrt(variances[g][p.s.local[term][l]])
	}
	return out
}

// Given returns the conditional distribution, the shared unknowns given, of sums of
// unknowns of one group, each sum over some places: their covariance, and by how
// much one unit of each shared unknown, in the order of Shared, lowers each sum.
func (p *Posterior) Given(sums [][]Place) (*mat.SymDense, *mat.Dense, error) {
	n := len(sums)
	group := sums[0][0].group
	blk, err := p.inverse(group)
	if err != nil {
		return nil, nil, err
	}
	local := mat.NewDense(n, p.s.sizes[group], nil)
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

// UnseenVariances is, of each of some observations of one group that has none of another
// weight than 0, so that the fit has not seen it: the variance of its prediction error less
// the mean of all their errors.
func (p *Posterior) UnseenVariances(observations []int) []float64 {
	part := p.s.part[p.s.groupOf(observations[0])]
	return p.s.unseenVariances(observations, subset(p.shared, part))
}

// unseenVariances works them out; shared is the covariance of the shared unknowns that the
// group has part in. The group's own are as its terms say: independent and of variance 1. It
// costs the observations times the square of those shared unknowns.
func (s *solution) unseenVariances(observations []int, shared *mat.SymDense) []float64 {
	n, group := len(observations), s.groupOf(observations[0])
	common := mat.NewDense(n, len(s.part[group]), nil)
	local := make([][]entry, n)
	var r row
	r.enter(s.layout, group)
	for i, at := range observations {
		var entries []entry
		r.write(s, at)
		local[i], entries = r.split(s.layout, at)
		for _, e := range entries {
			common.Set(i, e.at, e.v)
		}
	}
	mean := make([]float64, s.sizes[group])
	var noise float64
	for i, at := range observations {
		for _, e := range local[i] {
			mean[e.at] += e.v / float64(n)
		}
		noise += s.noise(s.sigma, at) / float64(n)
	}
	propagated := propagatedVariances(common, shared)
	out := make([]float64, n)
	for i, at := range observations {
		v := propagated[i] + floats.Dot(mean, mean) + noise/float64(n) + s.noise(s.sigma, at)*(1-2/float64(n))
		for _, e := range local[i] {
			v += e.v * (e.v - 2*mean[e.at])
		}
		out[i] = max(0, v)
	}
	return out
}

// propagatedVariances is the diagonal of J C J', J being the rows less their mean.
func propagatedVariances(rows *mat.Dense, cov *mat.SymDense) []float64 {
	n, p := rows.Dims()
	mean := make([]float64, p)
	for i := range n {
		floats.AddScaled(mean, 1/float64(n), rows.RawRowView(i))
	}
	for i := range n {
		floats.Sub(rows.RawRowView(i), mean)
	}
	var carried mat.Dense
	carried.Mul(rows, cov)
	out := make([]float64, n)
	for i := range out {
		out[i] = floats.Dot(carried.RawRowView(i), rows.RawRowView(i))
	}
	return out
}
