package solve

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// The mixed-model equations (C. R. Henderson, Best linear unbiased estimation
// and prediction under a selection model, Biometrics 31, 1975), written for
// u = L b with b ~ N(0, I) so that a variance of zero makes nothing singular:
//
//	[ L'Z'WZL + I   L'Z'WX     ] [b]   [ L'Z'W y        ]
//	[ X'WZL         X'WX + 1/s ] [B] = [ X'W y + m/s    ]
//
// Unknowns of one group only stand first and are eliminated group by group;
// what remains is a small dense system in the shared ones.

// solution is the model solved at given variances.
type solution struct {
	sigma     float64
	factors   []*mat.Dense
	lay       *layout
	weight    []float64
	blocks    []*block
	shared    []float64 // Beta, then b of the shared terms
	chol      mat.Cholesky
	reml      float64 // -2 log restricted likelihood
	criterion float64 // the same with the priors of the standard deviations
}

// block holds the unknowns of one group.
type block struct {
	a     *mat.SymDense // their own equations
	b     *mat.Dense    // their share with the shared unknowns
	rhs   []float64
	chol  mat.Cholesky
	w     mat.Dense // a^-1 b
	local []float64 // solution
}

// layout says where each unknown stands.
type layout struct {
	p       int     // fixed effects
	nshared int     // fixed effects and shared random ones
	at      []int   // shared terms: where their first level stands; -1 for local terms
	local   [][]int // local terms: where a level stands in its group's block
	group   [][]int // local terms: the group of a level
	sizes   []int   // unknowns of each group
}

func (m *Mixed) layout() *layout {
	lay := &layout{at: make([]int, len(m.Terms)), local: make([][]int, len(m.Terms)), group: make([][]int, len(m.Terms))}
	if m.X != nil {
		_, lay.p = m.X.Dims()
	}
	lay.nshared = lay.p
	groups := 1
	for _, g := range m.Group {
		groups = max(groups, g+1)
	}
	lay.sizes = make([]int, groups)
	for k, t := range m.Terms {
		if !t.Local || m.Group == nil {
			lay.at[k] = lay.nshared
			lay.nshared += t.levels * t.size
			continue
		}
		lay.at[k] = -1
		lay.local[k] = make([]int, t.levels)
		lay.group[k] = make([]int, t.levels)
		for l := range lay.local[k] {
			lay.local[k][l] = -1
		}
		for i, l := range t.Level {
			if l < 0 || lay.local[k][l] >= 0 {
				continue
			}
			g := m.Group[i]
			lay.local[k][l], lay.group[k][l] = lay.sizes[g], g
			lay.sizes[g] += t.size
		}
	}
	return lay
}

func (m *Mixed) groupOf(i int) int {
	if m.Group == nil {
		return 0
	}
	return m.Group[i]
}

// entry is one non-zero of an observation's row.
type entry struct {
	at int
	v  float64
}

// row lists an observation's non-zeros among its group's and the shared
// unknowns.
func (m *Mixed) row(i int, lay *layout, factors []*mat.Dense, local, shared []entry) ([]entry, []entry) {
	local, shared = local[:0], shared[:0]
	for j := range lay.p {
		if v := m.X.At(i, j); v != 0 {
			shared = append(shared, entry{j, v})
		}
	}
	for k := range m.Terms {
		t := &m.Terms[k]
		l := t.Level[i]
		if l < 0 {
			continue
		}
		for c := range t.size {
			v := t.loading(i, c, factors[k])
			if v == 0 {
				continue
			}
			if lay.at[k] >= 0 {
				shared = append(shared, entry{lay.at[k] + l*t.size + c, v})
			} else {
				local = append(local, entry{lay.local[k][l] + c, v})
			}
		}
	}
	return local, shared
}

// loading is entry c of Z L for one observation.
func (t *Term) loading(i, c int, factor *mat.Dense) float64 {
	if t.Z == nil {
		return factor.At(0, 0)
	}
	var v float64
	for r := c; r < t.size; r++ {
		v += t.Z[i][r] * factor.At(r, c)
	}
	return v
}

// solve finds the effects at given variances, and the criterion.
func (m *Mixed) solve(par []float64) (*solution, error) {
	s := &solution{lay: m.lay}
	s.sigma, s.factors = m.unpack(par)
	if s.sigma == 0 || math.IsInf(s.sigma, 0) || math.IsNaN(s.sigma) {
		return nil, errNotDefinite
	}
	s.weight = make([]float64, len(m.Y))
	c, rhs := m.assemble(s)
	logdet, err := s.eliminate(c, rhs)
	if err != nil {
		return nil, err
	}
	s.reml = logdet + m.penalised(s)
	for i := range m.Y {
		s.reml -= math.Log(s.weight[i])
	}
	flat := 0
	for j := range s.lay.p {
		if sd := m.priorSD(j); sd > 0 {
			s.reml += 2 * math.Log(sd)
		} else {
			flat++
		}
	}
	s.reml += float64(len(m.Y)-flat) * math.Log(2*math.Pi)
	s.criterion = s.reml + m.Sigma.penalty(s.sigma)
	for k, t := range m.Terms {
		if t.size == 1 {
			s.criterion += t.Spread.penalty(s.factors[k].At(0, 0))
		}
	}
	return s, nil
}

// penalty is -2 log of the prior density of a variance, up to a constant.
func (p Spread) penalty(sd float64) float64 {
	if p.DF == 0 {
		return 0
	}
	v := sd * sd
	return p.DF * (math.Log(v) + p.SD*p.SD/v)
}

func (m *Mixed) priorSD(j int) float64 {
	if m.Prior == nil {
		return 0
	}
	return m.Prior[j].SD
}

// noise is the variance of one observation of full weight.
func (m *Mixed) noise(sigma float64, i int) float64 {
	v := sigma * sigma
	if m.Known != nil {
		v += m.Known[i]
	}
	return v
}

// assemble builds every group's equations, and returns those of the shared
// unknowns.
func (m *Mixed) assemble(s *solution) (*mat.SymDense, []float64) {
	lay := s.lay
	c := mat.NewSymDense(max(lay.nshared, 1), nil)
	rhs := make([]float64, max(lay.nshared, 1))
	if lay.nshared == 0 {
		c.SetSym(0, 0, 1)
	}
	s.blocks = make([]*block, len(lay.sizes))
	for g, n := range lay.sizes {
		s.blocks[g] = &block{}
		if n > 0 {
			s.blocks[g] = &block{a: mat.NewSymDense(n, nil), b: mat.NewDense(n, len(rhs), nil), rhs: make([]float64, n)}
			for i := range n {
				s.blocks[g].a.SetSym(i, i, 1)
			}
		}
	}
	for j := range lay.p {
		if sd := m.priorSD(j); sd > 0 {
			c.SetSym(j, j, 1/(sd*sd))
			rhs[j] = m.Prior[j].Mean / (sd * sd)
		}
	}
	for j := lay.p; j < lay.nshared; j++ {
		c.SetSym(j, j, 1)
	}
	var local, shared []entry
	for i, y := range m.Y {
		w := 1 / m.noise(s.sigma, i)
		if m.Weight != nil {
			w *= m.Weight[i]
		}
		s.weight[i] = w
		local, shared = m.row(i, lay, s.factors, local, shared)
		blk := s.blocks[m.groupOf(i)]
		for x, e := range local {
			blk.rhs[e.at] += w * e.v * y
			for _, f := range local[x:] {
				blk.a.SetSym(e.at, f.at, blk.a.At(e.at, f.at)+w*e.v*f.v)
			}
			for _, f := range shared {
				blk.b.Set(e.at, f.at, blk.b.At(e.at, f.at)+w*e.v*f.v)
			}
		}
		for x, e := range shared {
			rhs[e.at] += w * e.v * y
			for _, f := range shared[x:] {
				c.SetSym(e.at, f.at, c.At(e.at, f.at)+w*e.v*f.v)
			}
		}
	}
	return c, rhs
}

// eliminate solves the equations and returns the log determinant of their
// matrix.
func (s *solution) eliminate(c *mat.SymDense, rhs []float64) (float64, error) {
	var logdet float64
	n := len(rhs)
	for _, blk := range s.blocks {
		if blk.a == nil {
			continue
		}
		if !blk.chol.Factorize(blk.a) {
			return 0, errNotDefinite
		}
		logdet += blk.chol.LogDet()
		if err := blk.chol.SolveTo(&blk.w, blk.b); err != nil {
			return 0, errNotDefinite
		}
		var bw mat.Dense
		bw.Mul(blk.b.T(), &blk.w)
		for i := range n {
			for j := i; j < n; j++ {
				c.SetSym(i, j, c.At(i, j)-bw.At(i, j))
			}
			for r, v := range blk.rhs {
				rhs[i] -= blk.w.At(r, i) * v
			}
		}
	}
	if !s.chol.Factorize(c) || s.chol.Cond() > 1e15 {
		return 0, errNotDefinite
	}
	logdet += s.chol.LogDet()
	var x mat.VecDense
	if err := s.chol.SolveVecTo(&x, mat.NewVecDense(n, rhs)); err != nil {
		return 0, errNotDefinite
	}
	s.shared = x.RawVector().Data
	for _, blk := range s.blocks {
		if err := blk.substitute(&x); err != nil {
			return 0, err
		}
	}
	return logdet, nil
}

func (b *block) substitute(shared *mat.VecDense) error {
	if b.a == nil {
		return nil
	}
	var own, through mat.VecDense
	if err := b.chol.SolveVecTo(&own, mat.NewVecDense(len(b.rhs), b.rhs)); err != nil {
		return errNotDefinite
	}
	through.MulVec(&b.w, shared)
	own.SubVec(&own, &through)
	b.local = own.RawVector().Data
	return nil
}

// penalised is the penalised sum of squares at the solution, from residuals: a
// minimum, so that rounding in the solution enters squared only.
func (m *Mixed) penalised(s *solution) float64 {
	var ss float64
	var local, shared []entry
	for i, y := range m.Y {
		local, shared = m.row(i, s.lay, s.factors, local, shared)
		r := y - s.fitted(m.groupOf(i), local, shared)
		ss += s.weight[i] * r * r
	}
	for _, blk := range s.blocks {
		for _, b := range blk.local {
			ss += b * b
		}
	}
	for j, v := range s.shared[:s.lay.nshared] {
		if j >= s.lay.p {
			ss += v * v
		} else if sd := m.priorSD(j); sd > 0 {
			d := (v - m.Prior[j].Mean) / sd
			ss += d * d
		}
	}
	return ss
}

func (s *solution) fitted(group int, local, shared []entry) float64 {
	var f float64
	for _, e := range local {
		f += e.v * s.blocks[group].local[e.at]
	}
	for _, e := range shared {
		f += e.v * s.shared[e.at]
	}
	return f
}

// finish turns a solution into what callers read: u = L b, covariances.
func (m *Mixed) finish(s *solution) (*MixedFit, error) {
	lay := s.lay
	f := &MixedFit{Sigma: s.sigma, Factor: s.factors, REML: s.reml}
	f.Beta = append([]float64(nil), s.shared[:lay.p]...)
	var inv mat.SymDense
	if err := s.chol.InverseTo(&inv); err != nil {
		return nil, errNotDefinite
	}
	if lay.p > 0 {
		f.Cov = mat.NewSymDense(lay.p, nil)
		f.Cov.CopySym(inv.SliceSym(0, lay.p))
	}
	for k := range m.Terms {
		f.U = append(f.U, m.modes(s, k))
	}
	var local, shared []entry
	for i := range m.Y {
		local, shared = m.row(i, lay, s.factors, local, shared)
		f.Fitted = append(f.Fitted, s.fitted(m.groupOf(i), local, shared))
	}
	return f, nil
}

// modes returns the conditional modes of one term, u = L b by level.
func (m *Mixed) modes(s *solution, k int) [][]float64 {
	t := &m.Terms[k]
	var out [][]float64
	for l := range t.levels {
		b := make([]float64, t.size)
		if at := s.lay.at[k]; at >= 0 {
			copy(b, s.shared[at+l*t.size:])
		} else if at := s.lay.local[k][l]; at >= 0 {
			copy(b, s.blocks[s.lay.group[k][l]].local[at:])
		}
		var u mat.VecDense
		u.MulVec(s.factors[k], mat.NewVecDense(t.size, b))
		out = append(out, u.RawVector().Data)
	}
	return out
}
