package solve

import (
	"slices"
	"sync"

	"gonum.org/v1/gonum/mat"
)

// Solved is a Mixed solved at given standard deviations, from which groups and
// observations can be left out without solving it anew. Terms have one covariate each.
type Solved struct {
	s       *solution
	inverse func() []float64 // of the shared unknowns' equations, in full
}

// Solve solves the model at given standard deviations, its own and those of its terms.
func (m *Mixed) Solve(sigma float64, sds []float64) (*Solved, error) {
	s, err := m.solveAt(sigma, sds)
	if err != nil {
		return nil, err
	}
	return &Solved{s, sync.OnceValue(func() []float64 { return dense(s.shared.inverse(s.total.n)) })}, nil
}

// Fit is the whole solution.
func (s *Solved) Fit() *MixedFit { return s.s.result() }

// Observations are the first observation of a group and the one behind its last, of a
// model whose groups stand one behind the other.
func (s *Solved) Observations(group int) (first, last int) {
	return s.s.begin[group], s.s.begin[group+1]
}

// Shared are estimates of the unknowns that all groups share: Beta, and the modes of the
// terms that are not local.
type Shared struct {
	Beta []float64
	U    [][]float64 // [term][level]; nil for a local term

	s      *solution
	system func() (*sharedSystem, error) // that they solve
}

// UnseenVariances is, of each of some observations of a group that was left out, the
// variance of its prediction error less the mean of all their errors, where variances of
// the shared unknowns are so many times what their equations say. It costs the cube of the
// shared unknowns.
func (s *Shared) UnseenVariances(observations []int, times float64) ([]float64, error) {
	system, err := s.system()
	if err != nil {
		return nil, err
	}
	inverse := system.inverse(max(s.s.nShared, 1))
	inverse.ScaleSym(times, inverse)
	return s.s.unseenVariances(observations, inverse), nil
}

// WithoutGroup is what the other groups say, exact at these standard deviations: the
// shared unknowns' equations are the sum of what each group says once its own unknowns
// are eliminated, so that one group's share can be taken off. It costs the cube of the
// shared unknowns that the group has part in, and its observations; and once, for all
// groups, the cube of all shared unknowns. It may be called from several goroutines.
func (s *Solved) WithoutGroup(group int) (*Shared, error) {
	own := s.s
	if own.begin[group] == own.begin[group+1] {
		return own.sharedAt(own.b, known(own.shared)), nil
	}
	part, share := own.part[group], own.share(group)
	if share == nil {
		return nil, errNotDefinite
	}
	rest := func() *equations {
		out := own.total.clone()
		out.add(-1, part, share)
		return out
	}
	system := func() (*sharedSystem, error) { return rest().factorize() }
	if own.nShared > manyUnknowns && 2*len(part) < own.nShared {
		if b, ok := s.lessFew(part, share); ok {
			return own.sharedAt(b, system), nil
		}
	}
	left := rest()
	solved, err := left.factorize()
	if err != nil {
		return nil, err
	}
	return own.sharedAt(solved.solve(left.right), known(solved)), nil
}

// share is what a group says of the shared unknowns that it has part in; nil where its own
// are not determined.
func (s *solution) share(group int) (out *equations) {
	s.blocks.with(func(b *block) {
		if !b.eliminate(s, group) {
			return
		}
		out = newEquations(len(b.part))
		for i := range out.n {
			copy(out.matrix[i*out.n+i:(i+1)*out.n], b.matrix[(b.mid+i)*b.n+b.mid+i:])
		}
		copy(out.right, b.right[b.mid:])
	})
	return out
}

// known is a system that need not be worked out.
func known(s *sharedSystem) func() (*sharedSystem, error) {
	return func() (*sharedSystem, error) { return s, nil }
}

// mostLoss is how much of their precision the differences of lessFew may lose.
const mostLoss = 1e8

// lessFew solves for the shared unknowns once equations of few of them are taken off (M. A.
// Woodbury, Inverting modified matrices, Princeton 1950, from memory); not ok where these
// are most of what determines some unknown, so that the difference is not precise.
func (s *Solved) lessFew(part []int, less *equations) (b []float64, ok bool) {
	inverse, n, t := s.inverse(), s.s.total.n, less.n
	b = append([]float64(nil), s.s.b...)
	toB := func(v []float64) { // adds the inverse times v
		for i, at := range part {
			addScaled(b, v[i], inverse[at*n:(at+1)*n])
		}
	}
	share, among, left := less.full(), mat.NewDense(t, t, nil), mat.NewDense(t, t, nil)
	for i, at := range part {
		for j, k := range part {
			among.Set(i, j, inverse[at*n+k])
		}
	}
	left.Mul(share, among)
	left.Scale(-1, left)
	for i := range t {
		left.Set(i, i, left.At(i, i)+1)
	}
	right, of, solved := make([]float64, t), mat.NewVecDense(t, nil), mat.NewVecDense(t, nil)
	for i, v := range less.right {
		right[i] = -v
	}
	toB(right)
	for i, at := range part {
		of.SetVec(i, b[at])
	}
	of.MulVec(share, mat.VecDenseCopyOf(of))
	var lu mat.LU
	lu.Factorize(left)
	if !(lu.Cond() < mostLoss) || lu.SolveVecTo(solved, false, of) != nil {
		return nil, false
	}
	toB(solved.RawVector().Data)
	return b, true
}

// Without is what the observations say that skip returns false for, at these standard
// deviations. It costs as much as solving the model, or as the groups that have others; but
// of many shared unknowns the square. It may be called from several goroutines.
func (s *Solved) Without(skip func(i int) bool) (*Shared, error) {
	out := &solution{layout: s.s.layout.withOwnChunks(), sigma: s.s.sigma, factors: s.s.factors}
	out.weigh(skip)
	var touched []int
	for g := range out.sizes {
		if slices.ContainsFunc(out.order[out.begin[g]:out.begin[g+1]], skip) {
			touched = append(touched, g)
		}
	}
	if 3*len(touched) > len(out.sizes) {
		if _, err := out.addGroups(); err != nil {
			return nil, err
		}
	} else {
		out.total = s.s.total.clone()
		for _, g := range touched {
			before, after := s.s.share(g), out.share(g)
			if before == nil || after == nil {
				return nil, errNotDefinite
			}
			out.total.add(-1, out.part[g], before)
			out.total.add(1, out.part[g], after)
		}
	}
	if out.nShared > manyUnknowns {
		if b, ok := out.total.near(s.s.shared, s.s.b); ok {
			return out.sharedAt(b, out.total.factorize), nil
		}
	}
	solved, err := out.total.factorize()
	if err != nil {
		return nil, err
	}
	return out.sharedAt(solved.solve(out.total.right), known(solved)), nil
}

// sharedAt is a solution of the shared unknowns, u = L b.
func (s *solution) sharedAt(b []float64, system func() (*sharedSystem, error)) *Shared {
	out := &Shared{Beta: b[:s.nFixed], U: make([][]float64, len(s.Terms)), s: s, system: system}
	for k := range s.Terms {
		if s.isLocal(k) {
			continue
		}
		out.U[k] = make([]float64, s.levels[k])
		for l, at := range s.places[k] {
			if at >= 0 {
				out.U[k][l] = s.factors[k][0] * b[at]
			}
		}
	}
	return out
}
