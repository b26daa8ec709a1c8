package solve

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
)

// Fit finds the variances by minimising the REML criterion (with the priors'
// terms, where there are priors), then the effects given the variances.
//
// A term's factor enters the criterion through L L', so that a variance of
// zero is an ordinary stationary point and needs no bound.
func (m *Mixed) Fit() (*MixedFit, error) {
	lay, err := m.layOut()
	if err != nil {
		return nil, err
	}
	par := lay.start()
	if _, err := lay.solve(par); err != nil {
		return nil, err
	}
	units := lay.units()
	value := func(x []float64) float64 {
		s, err := lay.solve(units.measured(x))
		if err != nil {
			return math.Inf(1)
		}
		return s.criterion
	}
	best, err := m.minimise(value, units.scaled(par))
	if err != nil {
		return nil, err
	}
	s, err := lay.solve(units.measured(best))
	if err != nil {
		return nil, err
	}
	return s.result()
}

// parUnits are the units in which the parameters of the variances are searched for, so
// that steps and thresholds are the same whatever the observations are measured in.
type parUnits []float64

// units is the observations' spread for each parameter, as a power of two; where the caller
// says what residual to expect, 32 times that, which is as far as levels on a bench spread.
func (lay *layout) units() parUnits {
	spread := 32 * lay.Sigma.SD
	if spread == 0 {
		spread = spreadOf(lay.Y)
	}
	u := make(parUnits, lay.width())
	for i := range u {
		u[i] = powerOfTwo(spread)
	}
	return u
}

// scaled are parameters in these units.
func (u parUnits) scaled(par []float64) []float64 {
	out := append([]float64{par[0] - math.Log(u[0])}, par[1:]...)
	floats.Div(out[1:], u[1:])
	return out
}

// measured are scaled parameters in the observations' own unit.
func (u parUnits) measured(x []float64) []float64 {
	out := append([]float64{x[0] + math.Log(u[0])}, x[1:]...)
	floats.Mul(out[1:], u[1:])
	return out
}

// minimise searches for the least value from a start, roughly where that will do.
func (m *Mixed) minimise(value func([]float64) float64, start []float64) ([]float64, error) {
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
	result, err := optimize.Minimize(problem, start, settings, &optimize.BFGS{})
	if result == nil {
		return nil, fmt.Errorf("variances: %w", err)
	}
	if m.Rough {
		return result.X, nil
	}
	return newtonPolish(value, result.X), nil
}

// At evaluates the model at given standard deviations (terms with one
// covariate only) instead of searching for them.
func (m *Mixed) At(sigma float64, sds []float64) (*MixedFit, error) {
	s, err := m.solveAt(sigma, sds)
	if err != nil {
		return nil, err
	}
	return s.result()
}

// start is where the search for the variances begins.
func (lay *layout) start() []float64 {
	par := make([]float64, 1, lay.width())
	scale := spreadOf(lay.Y) / 2
	if lay.Sigma.SD > 0 {
		par[0] = math.Log(lay.Sigma.SD)
	} else {
		par[0] = math.Log(scale)
	}
	for k, t := range lay.Terms {
		for i := range lay.size[k] {
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

// spreadOf is the standard deviation of values, a little more than 0 where they
// are equal, 1 where all are 0.
func spreadOf(y []float64) float64 {
	mean := Mean(y)
	var ss float64
	for _, v := range y {
		ss += (v - mean) * (v - mean) / float64(len(y))
	}
	if spread := math.Sqrt(ss) + 1e-9*math.Abs(mean); spread > 0 {
		return spread
	}
	return 1
}

// meanAbs is the mean size of one covariate; 0 for the constant.
func meanAbs(z [][]float64, i int) float64 {
	var s float64
	for _, row := range z {
		s += math.Abs(row[i]) / float64(len(z))
	}
	return s
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
