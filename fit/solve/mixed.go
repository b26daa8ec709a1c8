package solve

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
)

// Mixed is a linear mixed model with independent random terms,
//
//	y = X b + sum_k Z_k u_k + e,   u_k ~ N(0, S_k) for each level,
//	e_i ~ N(0, (sigma^2 + Known_i) / Weight_i),
//
// whose variances are found by restricted maximum likelihood (H. D. Patterson,
// R. Thompson, Recovery of inter-block information when block sizes are
// unequal, Biometrika 58, 1971). Fixed effects may carry normal priors and
// standard deviations may carry scaled inverse chi-squared priors; without any
// the criterion is the ordinary REML criterion.
//
// Unknowns that occur in one group only (a pickup's own level, its poles, its
// mountings) are eliminated group by group before the few that all groups
// share, so that the work grows in proportion to the number of groups.
type Mixed struct {
	Y      []float64
	X      *mat.Dense // one row an observation; nil when there is no fixed effect
	Known  []float64  // known variance of each observation besides sigma^2; nil = 0
	Weight []float64  // divides the variance of an observation; nil = 1
	Prior  []Normal   // of the fixed effects; nil, or SD 0 for an entry = flat
	Sigma  Spread     // residual standard deviation: start and prior
	Terms  []Term
	Group  []int // group of each observation, from 0; nil = one group
	Rough  bool  // standard deviations to two digits or three will do

	lay *layout // where each unknown stands
}

// Normal is a normal prior; SD 0 says that there is none.
type Normal struct{ Mean, SD float64 }

// Spread is what is known beforehand of a standard deviation: a scaled inverse
// chi-squared prior on its square, worth DF observations that spread by SD. DF 0
// is no prior; SD is then only where the search starts (0 = a default).
type Spread struct{ SD, DF float64 }

// Term is one random term. Each observation belongs to one level (or none,
// -1), and its random coefficients multiply the observation's row of Z.
type Term struct {
	Name   string
	Level  []int       // level of each observation, from 0; -1 = none
	Z      [][]float64 // covariates of each observation; nil = one constant 1
	Spread Spread      // of a term with one covariate
	Local  bool        // every level occurs in one group only
	size   int         // number of covariates
	levels int
}

// MixedFit is a fitted Mixed.
type MixedFit struct {
	Beta   []float64     // fixed effects
	Cov    *mat.SymDense // of Beta, given the variances; nil without Beta
	Sigma  float64       // residual standard deviation
	Factor []*mat.Dense  // of each term: lower triangle L, S_k = L L'
	U      [][][]float64 // conditional modes [term][level][covariate]
	REML   float64       // -2 log restricted likelihood at the optimum (no prior terms)
	Fitted []float64     // X b + Z u
}

// SD returns the standard deviation of a term's i-th coefficient.
func (f *MixedFit) SD(term, i int) float64 {
	var s float64
	for j := 0; j <= i; j++ {
		s += f.Factor[term].At(i, j) * f.Factor[term].At(i, j)
	}
	return math.Sqrt(s)
}

// Corr returns the correlation of two coefficients of a term; NaN where one
// does not vary.
func (f *MixedFit) Corr(term, i, j int) float64 {
	var s float64
	for k := 0; k <= min(i, j); k++ {
		s += f.Factor[term].At(i, k) * f.Factor[term].At(j, k)
	}
	return s / (f.SD(term, i) * f.SD(term, j))
}

// errNotDefinite says that the equations have no unique solution.
var errNotDefinite = errors.New("the observations do not determine the fixed effects")

// prepare checks the shapes and fills what is derived.
func (m *Mixed) prepare() error {
	n := len(m.Y)
	if n == 0 {
		return errors.New("no observations")
	}
	if m.X != nil {
		if r, _ := m.X.Dims(); r != n {
			return fmt.Errorf("fixed effects have %d rows for %d observations", r, n)
		}
	}
	for k := range m.Terms {
		t := &m.Terms[k]
		if len(t.Level) != n || (t.Z != nil && len(t.Z) != n) {
			return fmt.Errorf("term %q does not have one row an observation", t.Name)
		}
		t.size, t.levels = 1, 0
		if t.Z != nil {
			t.size = len(t.Z[0])
		}
		for _, l := range t.Level {
			t.levels = max(t.levels, l+1)
		}
	}
	m.lay = m.layout()
	return nil
}

// width is the number of parameters of the variances: the residual's and each
// term's lower triangle.
func (m *Mixed) width() int {
	w := 1
	for _, t := range m.Terms {
		w += t.size * (t.size + 1) / 2
	}
	return w
}

// unpack turns parameters into a residual standard deviation and factors.
func (m *Mixed) unpack(par []float64) (float64, []*mat.Dense) {
	factors := make([]*mat.Dense, len(m.Terms))
	at := 1
	for k, t := range m.Terms {
		l := mat.NewDense(t.size, t.size, nil)
		for i := range t.size {
			for j := 0; j <= i; j++ {
				l.Set(i, j, par[at])
				at++
			}
		}
		factors[k] = l
	}
	return math.Exp(par[0]), factors
}

// start is where the search for the variances begins.
func (m *Mixed) start() []float64 {
	par := make([]float64, 1, m.width())
	scale := spreadOf(m.Y) / 2
	if m.Sigma.SD > 0 {
		par[0] = math.Log(m.Sigma.SD)
	} else {
		par[0] = math.Log(scale)
	}
	for _, t := range m.Terms {
		for i := range t.size {
			for j := 0; j <= i; j++ {
				switch {
				case i != j:
					par = append(par, 0)
				case t.Spread.SD > 0:
					par = append(par, t.Spread.SD)
				default:
					par = append(par, scale/(1+meanAbs(t.Z, i)))
				}
			}
		}
	}
	return par
}

func spreadOf(y []float64) float64 {
	var mean, ss float64
	for _, v := range y {
		mean += v / float64(len(y))
	}
	for _, v := range y {
		ss += (v - mean) * (v - mean) / float64(len(y))
	}
	return math.Sqrt(ss) + 1e-9*(1+math.Abs(mean))
}

// meanAbs is the mean size of one covariate; 0 for the constant.
func meanAbs(z [][]float64, i int) float64 {
	var s float64
	for _, row := range z {
		s += math.Abs(row[i]) / float64(len(z))
	}
	return s
}

// Fit finds the variances by minimising the REML criterion (with the priors'
// terms, where there are priors), then the effects given the variances.
//
// A term's factor enters the criterion through L L', so that a variance of
// zero is an ordinary stationary point and needs no bound.
func (m *Mixed) Fit() (*MixedFit, error) {
	if err := m.prepare(); err != nil {
		return nil, err
	}
	par := m.start()
	if _, err := m.solve(par); err != nil {
		return nil, err
	}
	value := func(x []float64) float64 {
		s, err := m.solve(x)
		if err != nil {
			return math.Inf(1)
		}
		return s.criterion
	}
	problem := optimize.Problem{
		Func: value,
		Grad: func(grad, x []float64) { centralGradient(grad, value, x) },
	}
	settings := &optimize.Settings{
		GradientThreshold: 1e-7,
		MajorIterations:   500,
		Converger:         &optimize.FunctionConverge{Absolute: 1e-11, Relative: 1e-13, Iterations: 12},
	}
	if m.Rough {
		settings.GradientThreshold = 0.05
		settings.Converger = &optimize.FunctionConverge{Absolute: 1e-3, Iterations: 2}
	}
	// The line search of BFGS gives up close to the optimum, where differences of
	// the criterion drown in rounding; what it reached is then polished below.
	result, err := optimize.Minimize(problem, par, settings, &optimize.BFGS{})
	if result == nil {
		return nil, fmt.Errorf("variances: %w", err)
	}
	best := result.X
	if !m.Rough {
		best = newtonPolish(value, best)
	}
	s, err := m.solve(best)
	if err != nil {
		return nil, err
	}
	return m.finish(s)
}

// At evaluates the model at given standard deviations (terms with one
// covariate only) instead of searching for them.
func (m *Mixed) At(sigma float64, sds []float64) (*MixedFit, error) {
	if err := m.prepare(); err != nil {
		return nil, err
	}
	par := append([]float64{math.Log(sigma)}, sds...)
	if len(par) != m.width() {
		return nil, fmt.Errorf("%d standard deviations for %d terms", len(sds), len(m.Terms))
	}
	s, err := m.solve(par)
	if err != nil {
		return nil, err
	}
	return m.finish(s)
}

func gradientStep(x float64) float64 { return 1e-4 * math.Max(0.05, math.Abs(x)) }

// centralGradient writes the gradient by fourth-order central differences.
func centralGradient(grad []float64, f func([]float64) float64, x []float64) {
	y := append([]float64(nil), x...)
	at := func(i int, d float64) float64 {
		y[i] = x[i] + d
		v := f(y)
		y[i] = x[i]
		return v
	}
	for i := range x {
		h := gradientStep(x[i])
		grad[i] = (8*(at(i, h)-at(i, -h)) - (at(i, 2*h) - at(i, -2*h))) / (12 * h)
	}
}

// newtonPolish takes Newton steps with differenced derivatives for as long as
// they bring the gradient down.
func newtonPolish(f func([]float64) float64, x []float64) []float64 {
	n := len(x)
	grad := make([]float64, n)
	centralGradient(grad, f, x)
	for range 8 {
		step, ok := newtonStep(f, x, grad)
		if !ok {
			return x
		}
		next := append([]float64(nil), x...)
		for i := range next {
			next[i] -= step[i]
		}
		nextGrad := make([]float64, n)
		centralGradient(nextGrad, f, next)
		if !(norm(nextGrad) < norm(grad)) || f(next) > f(x)+1e-9 {
			return x
		}
		x, grad = next, nextGrad
	}
	return x
}

func newtonStep(f func([]float64) float64, x, grad []float64) ([]float64, bool) {
	n := len(x)
	hess := mat.NewSymDense(n, nil)
	up, down := make([]float64, n), make([]float64, n)
	for i := range n {
		y := append([]float64(nil), x...)
		h := gradientStep(x[i])
		y[i] = x[i] + h
		centralGradient(up, f, y)
		y[i] = x[i] - h
		centralGradient(down, f, y)
		for j := 0; j <= i; j++ {
			hess.SetSym(i, j, (up[j]-down[j])/(2*h))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(hess) {
		return nil, false
	}
	var step mat.VecDense
	if err := chol.SolveVecTo(&step, mat.NewVecDense(n, grad)); err != nil {
		return nil, false
	}
	return step.RawVector().Data, true
}

func norm(v []float64) float64 { return mat.Norm(mat.NewVecDense(len(v), v), 2) }
