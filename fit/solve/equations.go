package solve

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
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
	*layout
	sigma     float64
	factors   []*mat.Dense
	weight    []float64
	blocks    []*block
	b         []float64    // of the shared unknowns: Beta, then those of the shared terms
	chol      mat.Cholesky // of the shared unknowns' equations, each unknown divided by its unit
	unit      []float64    // of the shared unknowns
	reml      float64      // -2 log restricted likelihood
	criterion float64      // the same with the priors of the standard deviations
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

// solve finds the effects at given variances, and the criterion. par holds the
// logarithm of the residual standard deviation, then each term's lower triangle.
func (lay *layout) solve(par []float64) (*solution, error) {
	s := &solution{layout: lay}
	s.sigma, s.factors = lay.unpack(par)
	if s.sigma == 0 || math.IsInf(s.sigma, 0) || math.IsNaN(s.sigma) {
		return nil, errNotDefinite
	}
	s.weight = make([]float64, len(lay.Y))
	logdet, err := s.eliminate(s.assemble())
	if err != nil {
		return nil, err
	}
	s.reml = logdet + s.penalised()
	for i := range lay.Y {
		s.reml -= math.Log(s.weight[i])
	}
	flat := 0
	for j := range lay.nFixed {
		if sd := lay.priorSD(j); sd > 0 {
			s.reml += 2 * math.Log(sd)
		} else {
			flat++
		}
	}
	s.reml += float64(len(lay.Y)-flat) * math.Log(2*math.Pi)
	s.criterion = s.reml + lay.Sigma.penalty(s.sigma)
	for k, t := range lay.Terms {
		if lay.size[k] == 1 {
			s.criterion += t.Spread.penalty(s.factors[k].At(0, 0))
		}
	}
	return s, nil
}

// solveAt lays a model out and solves it at given standard deviations; its terms have
// one covariate each.
func (m *Mixed) solveAt(sigma float64, sds []float64) (*solution, error) {
	lay, err := m.layOut()
	if err != nil {
		return nil, err
	}
	par := append([]float64{math.Log(sigma)}, sds...)
	if len(par) != lay.width() {
		return nil, fmt.Errorf("%d standard deviations for %d terms", len(sds), len(lay.Terms))
	}
	return lay.solve(par)
}

// width is the number of parameters of the variances: the residual's and each
// term's lower triangle.
func (lay *layout) width() int {
	w := 1
	for _, size := range lay.size {
		w += size * (size + 1) / 2
	}
	return w
}

// unpack turns parameters into a residual standard deviation and factors.
func (lay *layout) unpack(par []float64) (float64, []*mat.Dense) {
	factors := make([]*mat.Dense, len(lay.Terms))
	at := 1
	for k, size := range lay.size {
		l := mat.NewDense(size, size, nil)
		for i := range size {
			for j := 0; j <= i; j++ {
				l.Set(i, j, par[at])
				at++
			}
		}
		factors[k] = l
	}
	return math.Exp(par[0]), factors
}

// penalty is -2 log of the prior density of a variance, up to a constant.
func (p Spread) penalty(sd float64) float64 {
	if p.DF == 0 {
		return 0
	}
	v := sd * sd
	return p.DF * (math.Log(v) + p.SD*p.SD/v)
}

// assemble builds every group's equations, and returns those of the shared
// unknowns.
func (s *solution) assemble() (*mat.SymDense, []float64) {
	c, rhs := s.sharedEquations()
	s.blocks = make([]*block, len(s.sizes))
	for g, n := range s.sizes {
		s.blocks[g] = newBlock(n, len(rhs))
	}
	var local, shared []entry
	for i := range s.Y {
		s.weight[i] = 1 / s.noise(s.sigma, i)
		if s.Weight != nil {
			s.weight[i] *= s.Weight[i]
		}
		local, shared = s.row(i, s.factors, local, shared)
		s.blocks[s.groupOf(i)].add(s.weight[i], s.Y[i], local, shared)
		addRow(c, rhs, s.weight[i], s.Y[i], shared)
	}
	return c, rhs
}

// sharedEquations are those of the shared unknowns before there are observations.
func (s *solution) sharedEquations() (*mat.SymDense, []float64) {
	n := max(s.nShared, 1)
	c, rhs := mat.NewSymDense(n, nil), make([]float64, n)
	if s.nShared == 0 {
		c.SetSym(0, 0, 1)
	}
	for j := range s.nFixed {
		if sd := s.priorSD(j); sd > 0 {
			c.SetSym(j, j, 1/(sd*sd))
			rhs[j] = s.Prior[j].Mean / (sd * sd)
		}
	}
	for j := s.nFixed; j < s.nShared; j++ {
		c.SetSym(j, j, 1)
	}
	return c, rhs
}

// newBlock is the equations of n unknowns of a group before there are
// observations, beside so many shared ones.
func newBlock(n, shared int) *block {
	if n == 0 {
		return &block{}
	}
	b := &block{a: mat.NewSymDense(n, nil), b: mat.NewDense(n, shared, nil), rhs: make([]float64, n)}
	for i := range n {
		b.a.SetSym(i, i, 1)
	}
	return b
}

// add adds an observation y of weight w.
func (b *block) add(w, y float64, local, shared []entry) {
	if b.a == nil {
		return
	}
	addRow(b.a, b.rhs, w, y, local)
	for _, e := range local {
		for _, f := range shared {
			b.b.Set(e.at, f.at, b.b.At(e.at, f.at)+w*e.v*f.v)
		}
	}
}

// addRow adds an observation y of weight w to equations.
func addRow(a *mat.SymDense, rhs []float64, w, y float64, row []entry) {
	for x, e := range row {
		rhs[e.at] += w * e.v * y
		for _, f := range row[x:] {
			a.SetSym(e.at, f.at, a.At(e.at, f.at)+w*e.v*f.v)
		}
	}
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
	sharedLogdet, err := s.factorize(c)
	if err != nil {
		return 0, err
	}
	logdet += sharedLogdet
	var x mat.VecDense
	floats.Mul(rhs, s.unit)
	if err := s.chol.SolveVecTo(&x, mat.NewVecDense(n, rhs)); err != nil {
		return 0, errNotDefinite
	}
	s.b = x.RawVector().Data
	floats.Mul(s.b, s.unit)
	for _, blk := range s.blocks {
		if err := blk.substitute(&x); err != nil {
			return 0, err
		}
	}
	return logdet, nil
}

// factorize factorises the shared unknowns' equations and returns the log determinant
// of their matrix. Each unknown is counted in a unit that brings its diagonal near 1, so
// that the units of observations and covariates do not decide what is taken for singular
// (J. W. Demmel, Applied Numerical Linear Algebra, 1997, section 2.5.1, from memory). Units
// are powers of two: nothing is rounded.
func (s *solution) factorize(c *mat.SymDense) (logdet float64, err error) {
	n := c.SymmetricDim()
	s.unit = make([]float64, n)
	for i := range n {
		if !(c.At(i, i) > 0) {
			return 0, errNotDefinite
		}
		s.unit[i] = 1 / powerOfTwo(math.Sqrt(c.At(i, i)))
	}
	for i := range n {
		for j := i; j < n; j++ {
			c.SetSym(i, j, s.unit[i]*c.At(i, j)*s.unit[j])
		}
	}
	if !s.chol.Factorize(c) || s.chol.Cond() > 1e15 {
		return 0, errNotDefinite
	}
	for i := range n {
		logdet += 2 * math.Log(s.chol.RawU().At(i, i)/s.unit[i])
	}
	return logdet, nil
}

// sharedInverse writes the covariance of the shared unknowns.
func (s *solution) sharedInverse(dst *mat.SymDense) error {
	if err := s.chol.InverseTo(dst); err != nil {
		return errNotDefinite
	}
	for i, unit := range s.unit {
		for j := i; j < len(s.unit); j++ {
			dst.SetSym(i, j, unit*dst.At(i, j)*s.unit[j])
		}
	}
	return nil
}

// substitute solves for the unknowns of a group, the shared ones known.
func (b *block) substitute(shared *mat.VecDense) error {
	if b.a == nil {
		return nil
	}
	var local, through mat.VecDense
	if err := b.chol.SolveVecTo(&local, mat.NewVecDense(len(b.rhs), b.rhs)); err != nil {
		return errNotDefinite
	}
	through.MulVec(&b.w, shared)
	local.SubVec(&local, &through)
	b.local = local.RawVector().Data
	return nil
}

// penalised is the penalised sum of squares at the solution, from residuals: a
// minimum, so that rounding in the solution enters squared only.
func (s *solution) penalised() float64 {
	var ss float64
	var local, shared []entry
	for i, y := range s.Y {
		local, shared = s.row(i, s.factors, local, shared)
		r := y - s.fitted(s.groupOf(i), local, shared)
		ss += s.weight[i] * r * r
	}
	for _, blk := range s.blocks {
		for _, b := range blk.local {
			ss += b * b
		}
	}
	for j, v := range s.b[:s.nShared] {
		if j >= s.nFixed {
			ss += v * v
		} else if sd := s.priorSD(j); sd > 0 {
			d := (v - s.Prior[j].Mean) / sd
			ss += d * d
		}
	}
	return ss
}

// fitted is the prediction for a row of unknowns.
func (s *solution) fitted(group int, local, shared []entry) float64 {
	var f float64
	for _, e := range local {
		f += e.v * s.blocks[group].local[e.at]
	}
	for _, e := range shared {
		f += e.v * s.b[e.at]
	}
	return f
}

// result is what callers read: u = L b, covariances.
func (s *solution) result() (*MixedFit, error) {
	f := &MixedFit{Sigma: s.sigma, Factor: s.factors, REML: s.reml}
	f.Beta = append([]float64(nil), s.b[:s.nFixed]...)
	var inv mat.SymDense
	if err := s.sharedInverse(&inv); err != nil {
		return nil, err
	}
	if s.nFixed > 0 {
		f.Cov = mat.NewSymDense(s.nFixed, nil)
		f.Cov.CopySym(inv.SliceSym(0, s.nFixed))
	}
	for k := range s.Terms {
		f.U = append(f.U, s.modes(k))
	}
	var local, shared []entry
	for i := range s.Y {
		local, shared = s.row(i, s.factors, local, shared)
		f.Fitted = append(f.Fitted, s.fitted(s.groupOf(i), local, shared))
	}
	return f, nil
}

// modes returns the conditional modes of one term, u = L b by level.
func (s *solution) modes(k int) [][]float64 {
	size := s.size[k]
	var out [][]float64
	for l := range s.levels[k] {
		b := make([]float64, size)
		if at := s.at[k]; at >= 0 {
			copy(b, s.b[at+l*size:])
		} else if at := s.local[k][l]; at >= 0 {
			copy(b, s.blocks[s.group[k][l]].local[at:])
		}
		var u mat.VecDense
		u.MulVec(s.factors[k], mat.NewVecDense(size, b))
		out = append(out, u.RawVector().Data)
	}
	return out
}
