package solve

// Solved is a Mixed solved at given standard deviations, from which groups and
// observations can be left out without solving it anew. Terms have one covariate each.
type Solved struct{ s *solution }

// Solve solves the model at given standard deviations, its own and those of its terms.
func (m *Mixed) Solve(sigma float64, sds []float64) (*Solved, error) {
	s, err := m.solveAt(sigma, sds)
	if err != nil {
		return nil, err
	}
	return &Solved{s}, nil
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
	system *sharedSystem // what was solved for them
}

// UnseenVariances is, of each of some observations of a group that was left out, the
// variance of its prediction error less the mean of all their errors, where variances of
// the shared unknowns are so many times what their equations say. It costs the cube of the
// shared unknowns.
func (s *Shared) UnseenVariances(observations []int, times float64) []float64 {
	inverse := s.system.inverse(max(s.s.nShared, 1))
	inverse.ScaleSym(times, inverse)
	return s.s.unseenVariances(observations, inverse)
}

// WithoutGroup is what the other groups say, exact at these standard deviations: the
// shared unknowns' equations are the sum of what each group says once its own unknowns
// are eliminated, so that one group's share can be taken off. It costs the cube of the
// shared unknowns, and the group's observations. It may be called from several goroutines.
func (s *Solved) WithoutGroup(group int) (*Shared, error) {
	if s.s.begin[group] == s.s.begin[group+1] {
		return s.s.sharedAt(s.s.b, s.s.shared), nil
	}
	own := newEquations(s.s.total.n)
	definite := true
	s.s.blocks.with(func(b *block) {
		if definite = b.eliminate(s.s, group); definite {
			b.addShared(own.matrix, own.right)
		}
	})
	if !definite {
		return nil, errNotDefinite
	}
	rest := s.s.total.less(own)
	system, err := rest.factorize()
	if err != nil {
		return nil, err
	}
	return s.s.sharedAt(system.solve(rest.right), system), nil
}

// Without is what the observations say that skip returns false for, at these standard
// deviations. It costs as much as solving the model. It may be called from several
// goroutines.
func (s *Solved) Without(skip func(i int) bool) (*Shared, error) {
	out := &solution{layout: s.s.layout.withOwnChunks(), sigma: s.s.sigma, factors: s.s.factors}
	out.weigh(skip)
	if _, err := out.eliminate(); err != nil {
		return nil, err
	}
	return out.sharedAt(out.b, out.shared), nil
}

// sharedAt is a solution of the shared unknowns, u = L b.
func (s *solution) sharedAt(b []float64, system *sharedSystem) *Shared {
	out := &Shared{Beta: b[:s.nFixed], U: make([][]float64, len(s.Terms)), s: s, system: system}
	for k, at := range s.at {
		if at < 0 {
			continue
		}
		scale := s.factors[k][0]
		out.U[k] = make([]float64, s.levels[k])
		for l := range out.U[k] {
			out.U[k][l] = scale * b[at+l]
		}
	}
	return out
}
