package solve

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Nonlinear is a nonlinear least-squares problem: find x of N entries that
// minimises the sum of squares of M residuals.
type Nonlinear struct {
	M, N     int
	Residual func(dst, x []float64)
	Jacobian func(dst *mat.Dense, x []float64) // M x N, d residual / d x; nil = differences, refined at the end
	Rough    bool                              // three digits will do, and no covariance

	commensurate bool // the parameters share one scale
}

// NonlinearFit is where the search ended.
type NonlinearFit struct {
	X          []float64
	SS         float64       // sum of squared residuals
	Cov        *mat.SymDense // (J'J)^-1 at X; nil where J has not full rank
	Iterations int
	Converged  bool // false: the limit of iterations ended the search, or differences do not tell the end to nlsTold
}

// The search's settings. They are the same for every problem.
const (
	nlsIterations = 1000
	nlsStep       = 1e-14 // a relative step below this is no step
	nlsRough      = 1e-3  // the same where three digits will do
	nlsTold       = 1e-7  // a relative step above this, by the best derivatives there are, is not at the end
	nlsDamping    = 1e-2  // first damping, relative to the scale of each column
	nlsGrow       = 2.0   // damping after a refused step
	nlsShrink     = 1.0 / 3
	nlsBend       = 0.75 // an acceleration longer than this share of the step is not trusted
)

var errNotFinite = errors.New("the residuals are not finite at the start")

// Solve minimises by damped Gauss-Newton steps (K. Levenberg 1944; D.
// Marquardt, An algorithm for least-squares estimation of nonlinear parameters,
// J. SIAM 11, 1963) in the column scaling of J. J. Moré (The
// Levenberg-Marquardt algorithm, implementation and theory, 1978), each step
// bent along the curve of the model by its second directional derivative (M. K.
// Transtrum, J. P. Sethna, Improvements to the Levenberg-Marquardt algorithm for
// nonlinear least-squares minimization, arXiv:1201.5885, 2012). Equations are
// solved by QR, never by forming J'J.
//
// A search that runs out of iterations, or ends where a parameter no longer
// matters (a plateau), is tried once more in relative coordinates, x = start
// e^z, and goes on from there; the better of the two ends counts.
func (p *Nonlinear) Solve(start []float64) (*NonlinearFit, error) {
	if len(start) != p.N || p.M < 1 {
		return nil, fmt.Errorf("%d starting values for %d parameters, %d residuals", len(start), p.N, p.M)
	}
	first, err := p.search(start)
	if err != nil || first.Converged && (p.Rough || first.Cov != nil) {
		return first, err
	}
	relative := p.relative(start)
	detour, err := relative.search(make([]float64, p.N))
	if err != nil {
		return first, nil
	}
	second, err := p.search(fromRelative(start, detour.X))
	if err != nil || second.SS > first.SS {
		return first, nil
	}
	return second, nil
}

// search runs from one start to its end.
func (p *Nonlinear) search(start []float64) (*NonlinearFit, error) {
	s := &search{p: p, x: append([]float64(nil), start...), scale: make([]float64, p.N), size: make([]float64, p.N), damping: nlsDamping}
	s.r = s.residual(s.x)
	s.ss = SumSquares(s.r)
	if !Finite(s.ss) {
		return nil, errNotFinite
	}
	s.jacobian()
	fit := &NonlinearFit{}
	for fit.Iterations = 0; fit.Iterations < nlsIterations && !fit.Converged; fit.Iterations++ {
		fit.Converged = s.step()
	}
	if p.Rough {
		fit.X, fit.SS = s.x, s.ss
		return fit, nil
	}
	s.refined = true
	s.polish()
	if p.Jacobian == nil {
		fit.Converged = fit.Converged && s.told()
	}
	fit.X, fit.SS = s.x, s.ss
	fit.Cov = covariance(s.j)
	return fit, nil
}

// relative is the same problem in z, where x = start e^z. A parameter that
// starts at zero stays there: it has no scale to be relative to.
func (p *Nonlinear) relative(start []float64) *Nonlinear {
	q := &Nonlinear{M: p.M, N: p.N, commensurate: true, Residual: func(dst, z []float64) { p.Residual(dst, fromRelative(start, z)) }}
	if p.Jacobian != nil {
		q.Jacobian = func(dst *mat.Dense, z []float64) {
			x := fromRelative(start, z)
			p.Jacobian(dst, x)
			for i := range p.M {
				for j := range p.N {
					dst.Set(i, j, dst.At(i, j)*x[j])
				}
			}
		}
	}
	return q
}

func fromRelative(start, z []float64) []float64 {
	x := make([]float64, len(z))
	for i := range x {
		x[i] = start[i] * math.Exp(z[i])
	}
	return x
}

// search is the state of Solve.
type search struct {
	p       *Nonlinear
	x, r    []float64
	ss      float64
	j       *mat.Dense
	scale   []float64 // of each parameter: the longest its column has been
	size    []float64 // of each parameter: the largest it has been
	damping float64
	refined bool // differences are extrapolated
}

func (s *search) residual(x []float64) []float64 {
	r := make([]float64, s.p.M)
	s.p.Residual(r, x)
	return r
}

func (s *search) jacobian() {
	if s.j == nil {
		s.j = mat.NewDense(s.p.M, s.p.N, nil)
	}
	switch {
	case s.p.Jacobian != nil:
		s.p.Jacobian(s.j, s.x)
	case s.refined:
		s.refinedDifferences()
	default:
		differences(s.j, s.p.Residual, s.x, s.steps(1))
	}
	whole := mat.Norm(s.j, 2)
	for i := range s.scale {
		column := whole
		if !s.p.commensurate {
			column = mat.Norm(s.j.ColView(i), 2)
		}
		s.scale[i] = math.Max(s.scale[i], column)
		if s.scale[i] == 0 {
			s.scale[i] = 1
		}
	}
}

// steps are the steps of differences for each parameter, times some factor: relative to
// its size, be that small or large, and for one that was never other than 0 to 1e-3.
func (s *search) steps(times float64) []float64 {
	out := make([]float64, len(s.x))
	for i, x := range s.x {
		s.size[i] = math.Max(s.size[i], math.Abs(x))
		size := math.Max(math.Abs(x), 1e-3*s.size[i])
		if size == 0 {
			size = 1e-3
		}
		out[i] = times * math.Cbrt(2.2e-16) * size
	}
	return out
}

// refinedDifferences fills the Jacobian by differences over two steps, extrapolated to a
// step of none (L. F. Richardson, 1911): their error falls with the fourth power of the
// step, so that the steps can be long beside rounding.
func (s *search) refinedDifferences() {
	m, n := s.j.Dims()
	long := mat.NewDense(m, n, nil)
	differences(long, s.p.Residual, s.x, s.steps(20))
	differences(s.j, s.p.Residual, s.x, s.steps(10))
	for i := range m {
		for k := range n {
			s.j.Set(i, k, s.j.At(i, k)+(s.j.At(i, k)-long.At(i, k))/3)
		}
	}
}

// differences fills a Jacobian by central differences over given steps.
func differences(dst *mat.Dense, f func(dst, x []float64), x, steps []float64) {
	m, _ := dst.Dims()
	y := append([]float64(nil), x...)
	up, down := make([]float64, m), make([]float64, m)
	for i, h := range steps {
		y[i] = x[i] + h
		f(up, y)
		hi := y[i]
		y[i] = x[i] - h
		f(down, y)
		for k := range up {
			dst.Set(k, i, (up[k]-down[k])/(hi-y[i]))
		}
		y[i] = x[i]
	}
}

// step tries one damped step and reports whether the search has come to rest.
func (s *search) step() bool {
	qr := s.damped(s.damping)
	v := s.solve(qr, s.r)
	if v == nil {
		s.damping *= nlsGrow
		return s.damping > 1e30
	}
	s.bend(qr, v)
	next := make([]float64, s.p.N)
	for i := range next {
		next[i] = s.x[i] - v[i]
	}
	r := s.residual(next)
	ss := SumSquares(r)
	rest := s.small(v, s.p.least())
	if Finite(ss) && ss <= s.ss {
		flat := ss == s.ss
		s.x, s.r, s.ss = next, r, ss
		s.damping = math.Max(s.damping*nlsShrink, 1e-20)
		s.jacobian()
		return rest || flat
	}
	s.damping *= nlsGrow
	return rest || s.damping > 1e30
}

// least is the relative step below which the search is at its end.
func (p *Nonlinear) least() float64 {
	if p.Rough {
		return nlsRough
	}
	return nlsStep
}

// small reports whether a step moves nothing that counts, relatively: beside the
// parameter itself, and beside what all the residuals together could tell.
func (s *search) small(v []float64, relative float64) bool {
	for i := range v {
		if math.Abs(v[i]) > relative*math.Abs(s.x[i]) && math.Abs(v[i])*s.scale[i] > relative*math.Sqrt(s.ss) {
			return false
		}
	}
	return true
}

// damped factorises the Jacobian with the damping's rows below it.
func (s *search) damped(damping float64) *mat.QR {
	m, n := s.p.M, s.p.N
	a := mat.NewDense(m+n, n, nil)
	a.Slice(0, m, 0, n).(*mat.Dense).Copy(s.j)
	for i := range n {
		a.Set(m+i, i, math.Sqrt(damping)*s.scale[i])
	}
	var qr mat.QR
	qr.Factorize(a)
	return &qr
}

// solve returns the damped least-squares solution of J v = r; nil when the
// equations are singular.
func (s *search) solve(qr *mat.QR, r []float64) []float64 {
	rhs := mat.NewVecDense(s.p.M+s.p.N, nil)
	for i, v := range r {
		rhs.SetVec(i, v)
	}
	var x mat.VecDense
	err := qr.SolveVecTo(&x, false, rhs)
	var condition mat.Condition
	if err != nil && (!errors.As(err, &condition) || math.IsInf(float64(condition), 1)) {
		return nil
	}
	for _, v := range x.RawVector().Data {
		if !Finite(v) {
			return nil
		}
	}
	return x.RawVector().Data
}

// bend adds the second-order correction to a step, where it is trusted.
func (s *search) bend(qr *mat.QR, v []float64) {
	const h = 0.1
	at := make([]float64, s.p.N)
	for i := range at {
		at[i] = s.x[i] - h*v[i]
	}
	ahead := s.residual(at)
	var jv mat.VecDense
	jv.MulVec(s.j, mat.NewVecDense(s.p.N, v))
	curve := make([]float64, s.p.M)
	for i := range curve {
		curve[i] = 2 / h * ((ahead[i]-s.r[i])/h + jv.AtVec(i))
		if !Finite(curve[i]) {
			return
		}
	}
	a := s.solve(qr, curve)
	if a == nil || s.length(a) > nlsBend*s.length(v) {
		return
	}
	for i := range v {
		v[i] += a[i] / 2
	}
}

func (s *search) length(v []float64) float64 {
	var ss float64
	for i := range v {
		ss += v[i] * v[i] * s.scale[i] * s.scale[i]
	}
	return math.Sqrt(ss)
}

// told reports whether derivatives by differences are good enough to tell where the end
// is: the next undamped step, by the refined ones and by the plain ones, moves nothing.
func (s *search) told() bool {
	refined := s.solve(s.damped(0), s.r)
	s.refined = false
	s.jacobian()
	plain := s.solve(s.damped(0), s.r)
	s.refined = true
	s.jacobian()
	return refined != nil && plain != nil && s.small(refined, nlsTold) && s.small(plain, math.Sqrt(nlsTold))
}

// polish takes undamped steps for as long as they get shorter and do no
// visible harm: near the optimum the sum of squares is too flat to judge by,
// but the steps are not.
func (s *search) polish() {
	if s.p.Jacobian == nil {
		s.jacobian()
	}
	last := math.Inf(1)
	for range 20 {
		v := s.solve(s.damped(0), s.r)
		if v == nil {
			return
		}
		l := s.length(v)
		if !(l < last/2) {
			return
		}
		last = l
		next := make([]float64, s.p.N)
		for i := range next {
			next[i] = s.x[i] - v[i]
		}
		r := s.residual(next)
		if ss := SumSquares(r); !(ss <= s.ss*(1+1e-9)) {
			return
		}
		s.x, s.r, s.ss = next, r, SumSquares(r)
		s.jacobian()
	}
}

// covariance is (J'J)^-1 by QR; nil where J has not full rank.
func covariance(j *mat.Dense) *mat.SymDense {
	_, n := j.Dims()
	var qr mat.QR
	qr.Factorize(j)
	if !(qr.Cond() < 1e15) {
		return nil
	}
	var r, inv mat.Dense
	qr.RTo(&r)
	if err := inv.Inverse(r.Slice(0, n, 0, n)); err != nil && !errors.As(err, new(mat.Condition)) {
		return nil
	}
	cov := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			cov.SetSym(i, k, mat.Dot(inv.RowView(i), inv.RowView(k)))
		}
	}
	return cov
}
