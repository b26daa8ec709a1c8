package solve

import (
	"fmt"
	"math"
	"slices"

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
	par := lay.first()
	if _, err := lay.solve(par); err != nil {
		return nil, err
	}
	units := lay.units()
	c := &criterion{lay: lay, units: units}
	best, err := c.minimise(units.scaled(par))
	if err != nil {
		return nil, err
	}
	s, err := lay.solve(units.measured(best))
	if err != nil {
		return nil, err
	}
	return s.result(), nil
}

// criterion is the criterion as a function of scaled parameters.
type criterion struct {
	lay   *layout
	units parUnits
	at    []float64 // where it was solved last
	last  *solution // there; nil where the equations have no solution
}

func (c *criterion) solve(x []float64) *solution {
	if !slices.Equal(x, c.at) {
		c.at = slices.Clone(x)
		c.last, _ = c.lay.solve(c.units.measured(x))
	}
	return c.last
}

// value is +Inf where the equations have no solution.
func (c *criterion) value(x []float64) float64 {
	if s := c.solve(x); s != nil && !math.IsNaN(s.criterion) {
		return s.criterion
	}
	return math.Inf(1)
}

func (c *criterion) gradient(grad, x []float64) {
	s := c.solve(x)
	if s == nil {
		clear(grad)
		return
	}
	copy(grad, s.gradient())
	floats.Mul(grad[1:], c.units[1:])
}

// parUnits are the units in which the parameters of the variances are searched for, so
// that steps and thresholds are the same whatever the observations are measured in.
type parUnits []float64

// units is the observations' spread for each parameter, as a power of two, over the size
// of the covariate that it multiplies; where the caller says what residual to expect, 32
// times that, which is as far as levels on a bench spread.
func (lay *layout) units() parUnits {
	spread := 32 * lay.Sigma.SD
	if spread == 0 {
		spread = spreadOf(lay.Y)
	}
	u := parUnits{powerOfTwo(spread)}
	for k, size := range lay.size {
		for r := range size {
			for range r + 1 {
				u = append(u, powerOfTwo(spread/lay.covariateSize(k, r)))
			}
		}
	}
	return u
}

// covariateSize is the root mean square of one covariate of a term: 1 for the constant.
func (lay *layout) covariateSize(k, r int) float64 {
	z := lay.Terms[k].Z
	if z == nil {
		return 1
	}
	var ss float64
	for _, row := range z {
		ss += row[r] * row[r] / float64(len(z))
	}
	if ss == 0 {
		return 1
	}
	return math.Sqrt(ss)
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

// minimise searches for the least value from a start.
func (c *criterion) minimise(start []float64) ([]float64, error) {
	settings := &optimize.Settings{
		GradientThreshold: 1e-7,
		MajorIterations:   500,
		Converger:         &optimize.FunctionConverge{Absolute: 1e-11, Relative: 1e-13, Iterations: 12},
	}
	// The line search of BFGS gives up close to the optimum, where differences of
	// the criterion drown in rounding; what it reached is then polished below.
	result, err := optimize.Minimize(optimize.Problem{Func: c.value, Grad: c.gradient}, start, settings, &optimize.BFGS{})
	if result == nil {
		return nil, fmt.Errorf("variances: %w", err)
	}
	return c.polish(result.X), nil
}

// At evaluates the model at given standard deviations (terms with one
// covariate only) instead of searching for them.
func (m *Mixed) At(sigma float64, sds []float64) (*MixedFit, error) {
	s, err := m.solveAt(sigma, sds)
	if err != nil {
		return nil, err
	}
	return s.lastResult(), nil
}

// first is where the search for the variances begins.
func (lay *layout) first() []float64 {
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
					par = append(par, scale/lay.covariateSize(k, i))
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

// polish takes Newton steps for as long as they bring the gradient down.
func (c *criterion) polish(x []float64) []float64 {
	n := len(x)
	grad := make([]float64, n)
	c.gradient(grad, x)
	for range 8 {
		step, ok := c.newtonStep(x, grad)
		if !ok {
			return x
		}
		next := make([]float64, n)
		floats.SubTo(next, x, step)
		nextGrad := make([]float64, n)
		c.gradient(nextGrad, next)
		if !(floats.Norm(nextGrad, 2) < floats.Norm(grad, 2)) || c.value(next) > c.value(x)+1e-9 {
			return x
		}
		x, grad = next, nextGrad
	}
	return x
}

// newtonStep is the step to take off x: second derivatives are central differences of
// the exact gradient.
func (c *criterion) newtonStep(x, grad []float64) ([]float64, bool) {
	n := len(x)
	hess := mat.NewSymDense(n, nil)
	up, down := make([]float64, n), make([]float64, n)
	for i := range n {
		y := slices.Clone(x)
		h := 1e-4 * math.Max(0.05, math.Abs(x[i]))
		y[i] = x[i] + h
		c.gradient(up, y)
		y[i] = x[i] - h
		c.gradient(down, y)
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
