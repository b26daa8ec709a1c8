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
	inverse func() *mat.SymDense // of the shared unknowns' equations
	weights sync.Pool            // copies of the observations' weights
}

// Solve solves the model at given standard deviations, its own and those of its terms.
func (m *Mixed) Solve(sigma float64, sds []float64) (*Solved, error) {
	s, err := m.solveAt(sigma, sds)
	if err != nil {
		return nil, err
	}
	return &Solved{
		s: s, inverse: sync.OnceValue(func() *mat.SymDense { return s.shared.inverse(s.total.n) }),
		weights: sync.Pool{New: func() any { w := slices.Clone(s.weight); return &w }},
	}, nil
}

// Fit is the whole solution.
func (s *Solved) Fit() *MixedFit { return s.s.result() }

// Observations are the first observation of a group and the one behind its last, of a
// model whose groups stand one behind the other.
func (s *Solved) Observations(group int) (first, last int) {
	return s.s.begin[group], s.s.begin[group+1]
}

// Shared are estimates of the unknowns that all groups share: Beta, and the modes of the
// terms that are not local. A level that was taken for one group's own, as very many are
// shared, is where the whole solution has it; 0 where that group is left out.
type Shared struct {
	Beta []float64
	U    func(term, level int) float64 // the mode of a level of a term that is not local

	s   *solution
	cov func() *mat.SymDense // of those that the group has part in that was left out; nil where none was
}

// UnseenVariances is, of each of some observations of a group that was left out, the
// variance of its prediction error less the mean of all their errors, where variances of
// the shared unknowns are so many times what their equations say. It costs the cube of the
// shared unknowns that the group has part in.
func (s *Shared) UnseenVariances(observations []int, times float64) []float64 {
	cov := s.cov()
	cov.ScaleSym(times, cov)
	return s.s.unseenVariances(observations, cov)
}

// WithoutGroup is what the other groups say, exact at these standard deviations: the
// shared unknowns' equations are the sum of what each group says once its own unknowns
// are eliminated, so that one group's share can be taken off. It costs the cube of the
// shared unknowns that the group has part in, and its observations; and once, for all
// groups, the cube of all shared unknowns. It may be called from several goroutines.
func (s *Solved) WithoutGroup(group int) (*Shared, error) {
	own := s.s
	part := own.part[group]
	if own.begin[group] == own.begin[group+1] {
		return s.sharedAt(own.b, group, func() *mat.SymDense { return own.shared.among(part) }), nil
	}
	share := own.share(group)
	if share == nil {
		return nil, errNotDefinite
	}
	if own.nShared-len(part) > manyUnknowns {
		if b, cov, ok := s.lessFew(part, share); ok {
			return s.sharedAt(b, group, cov), nil
		}
	}
	rest := own.total.clone()
	rest.add(-1, part, share)
	solved, err := rest.factorize()
	if err != nil {
		return nil, err
	}
	return s.sharedAt(solved.solve(rest.right), group, func() *mat.SymDense { return solved.among(part) }), nil
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

// mostLoss is how much of their precision the differences of lessFew may lose.
const mostLoss = 1e8

// lessFew solves for the shared unknowns once equations of few of them are taken off (M. A.
// Woodbury, Inverting modified matrices, Princeton 1950, from memory), whose covariance
// it works out when it is asked for; not ok where these equations are most of what
// determines some unknown, so that the difference is not precise.
func (s *Solved) lessFew(part []int, less *equations) (b []float64, cov func() *mat.SymDense, ok bool) {
	inverse, t := s.inverse(), less.n
	b = slices.Clone(s.s.b)
	toB := func(v []float64) { // adds the inverse times v
		for k := range b {
			for i, at := range part {
				b[k] += v[i] * inverse.At(at, k)
			}
		}
	}
	share, among, left := mat.NewSymDense(t, less.matrix), subset(inverse, part), mat.NewDense(t, t, nil)
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
		return nil, nil, false
	}
	toB(solved.RawVector().Data)
	return b, func() *mat.SymDense {
		var all mat.Dense
		lu.SolveTo(&all, true, among) // which complains of less precise ones than there are
		out := mat.NewSymDense(t, nil)
		for i := range t {
			for j := i; j < t; j++ {
				out.SetSym(i, j, (all.At(i, j)+all.At(j, i))/2)
			}
		}
		return out
	}, true
}

// Without is what the observations say but for some, at these standard deviations. It costs
// as much as solving the model, or as the groups of those where they are few, and the square
// of many shared unknowns. It may be called from several goroutines.
func (s *Solved) Without(observations []int) (*Shared, error) {
	out := &solution{layout: s.s.layout, sigma: s.s.sigma, factors: s.s.factors}
	weight := s.weights.Get().(*[]float64)
	out.weight = *weight
	defer func() {
		for _, i := range observations {
			out.weight[i] = s.s.weight[i]
		}
		s.weights.Put(weight)
	}()
	var touched []int
	for _, i := range observations {
		out.weight[i] = 0
		if g := s.s.groupOf(i); len(touched) == 0 || touched[len(touched)-1] != g {
			touched = append(touched, g)
		}
	}
	slices.Sort(touched)
	touched = slices.Compact(touched)
	if 3*len(touched) > len(s.s.sizes) {
		out.layout = s.s.layout.withOwnChunks()
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
			return s.sharedAt(b, noUnknown, nil), nil
		}
	}
	solved, err := out.total.factorize()
	if err != nil {
		return nil, err
	}
	return s.sharedAt(solved.solve(out.total.right), noUnknown, nil), nil
}

// sharedAt is a solution of the shared unknowns without a group, u = L b.
func (s *Solved) sharedAt(b []float64, without int, cov func() *mat.SymDense) *Shared {
	of := s.s
	mode := func(k, l int) float64 {
		switch at := of.places[k][l]; {
		case at >= 0:
			return of.factors[k][0] * b[at]
		case of.local[k][l] >= 0 && of.group[k][l] != without:
			return of.factors[k][0] * of.level(k, l)[0]
		}
		return 0
	}
	return &Shared{Beta: b[:of.nFixed], U: mode, s: of, cov: cov}
}
