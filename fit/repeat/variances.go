package repeat

import (
	"errors"
	"math"

	"evenpole/fit/solve"

	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat/distuv"
)

// sample is values that vary for several reasons at once:
//
//	y_i = mean[fixed_i] + sum_k u_k[level_k(i)] + e_i,
//	u_k ~ N(0, S_k), e_i ~ N(0, S/weight_i).
//
// A value that is itself a mean of w takes has weight w; what the takes showed
// of S beside their means is in within.
type sample struct {
	y, weight []float64
	fixed     []int // which mean a value has, from 0
	means     numbering
	group     []int // each level of a local source is in one group only
	sources   []source
	within    solve.Spread
}

// source is one source of scatter.
type source struct {
	name  string
	level []int // of each value, from 0
	local bool
}

// estimate is a fitted sample: standard deviations, the residual's last, and
// what is needed to say how well they are known.
type estimate struct {
	sample *sample
	sd     []float64
	best   float64       // criterion at the optimum
	cov    *mat.SymDense // of the variances; rows of those that are 0 are 0
}

// zeroShare is the share of the residual's variance below which a variance counts as 0.
const zeroShare = 1e-5

// mixedModel is the sample as a mixed model. The scatter of the takes about their means adds
// DF (ln S + SD²/S) to -2 log likelihood, which is what a scaled inverse
// chi-squared prior of DF degrees of freedom adds: no approximation is made.
func (s *sample) mixedModel() *solve.Mixed {
	means := 0
	for _, f := range s.fixed {
		means = max(means, f+1)
	}
	x := mat.NewDense(len(s.y), means, nil)
	for i, f := range s.fixed {
		x.Set(i, f, 1)
	}
	m := &solve.Mixed{Y: s.y, X: x, Weight: s.weight, Group: solve.LevelsOf(s.group), Sigma: s.within}
	for _, c := range s.sources {
		m.Terms = append(m.Terms, solve.Term{Name: c.name, Level: solve.LevelsOf(c.level), Local: c.local})
	}
	return m
}

// estimate finds the variances by restricted maximum likelihood.
func (s *sample) estimate() (*estimate, error) {
	f, err := s.mixedModel().Fit()
	if err != nil {
		return nil, err
	}
	e := &estimate{sample: s}
	for k := range s.sources {
		e.sd = append(e.sd, f.SD(k, 0))
	}
	e.sd = append(e.sd, f.Sigma)
	if f.Sigma < 1e-6 {
		return nil, errors.New("all values repeat to the last digit: they look copied, and show no scatter")
	}
	e.best = s.criterion(e.sd)
	e.cov, err = e.covariance()
	return e, err
}

// criterion is -2 log restricted likelihood, up to a constant.
func (s *sample) criterion(sd []float64) float64 {
	n := len(sd) - 1
	f, err := s.mixedModel().At(sd[n], sd[:n])
	if err != nil {
		return math.Inf(1)
	}
	v := sd[n] * sd[n]
	return f.REML + s.within.DF*(math.Log(v)+s.within.SD*s.within.SD/v)
}

// covariance is the inverse of the observed information of the variances, by
// differences on the scale of their logarithms.
func (e *estimate) covariance() (*mat.SymDense, error) {
	n := len(e.sd)
	var at []int // of the variances that are not 0
	var logs []float64
	for k, sd := range e.sd {
		if v := sd * sd; v > zeroShare*e.sd[n-1]*e.sd[n-1] {
			at, logs = append(at, k), append(logs, math.Log(v))
		}
	}
	sd := append([]float64(nil), e.sd...)
	hessian := mat.NewSymDense(len(at), nil)
	fd.Hessian(hessian, func(x []float64) float64 {
		for i, k := range at {
			sd[k] = math.Exp(x[i] / 2)
		}
		return e.sample.criterion(sd)
	}, logs, &fd.Settings{Step: 1e-3})
	var chol mat.Cholesky
	var inverse mat.SymDense
	if !chol.Factorize(hessian) || chol.InverseTo(&inverse) != nil {
		return nil, errors.New("the runs do not determine the variances: mount the pickup more often")
	}
	cov := mat.NewSymDense(n, nil)
	for i, k := range at {
		for j := i; j < len(at); j++ {
			cov.SetSym(k, at[j], 2*inverse.At(i, j)*math.Exp(logs[i]+logs[j]))
		}
	}
	return cov, nil
}

// sum is the variance that is made of these multiples of the components, and its
// effective degrees of freedom, 2 V²/var V (F. E. Satterthwaite, An approximate
// distribution of estimates of variance components, Biometrics Bulletin 2, 1946).
func (e *estimate) sum(share []float64) (variance, dof float64) {
	var spread float64
	for i, a := range share {
		variance += a * e.sd[i] * e.sd[i]
		for j, b := range share {
			spread += a * b * e.cov.At(i, j)
		}
	}
	if !(spread > 0) {
		return variance, math.Inf(1)
	}
	return variance, 2 * variance * variance / spread
}

// interval is that of one standard deviation, by the profile of the restricted
// likelihood: all values whose likelihood, maximised over the other variances, is not
// too small. It may begin at 0. (D. M. Bates et al., Fitting linear
// mixed-effects models using lme4, J. Stat. Softw. 67(1), 2015, section 5.1, does
// the same with the full likelihood.)
func (e *estimate) interval(k int, confidence float64) (low, high float64) {
	rise := math.Sqrt(distuv.ChiSquared{K: 1}.Quantile(confidence))
	near := e.sd
	excess := func(x float64) float64 { // grows almost linearly with the distance
		var value float64
		value, near = e.profile(k, x, near)
		return math.Sqrt(max(0, value-e.best)) - rise
	}
	sd := e.sd[k]
	if at0 := excess(0); at0 > 0 {
		low = crossing(excess, sd, -rise, 0, at0)
	}
	near = e.sd
	top := max(2*sd, 0.5*e.sd[len(e.sd)-1])
	atTop := excess(top)
	for atTop < 0 {
		top *= 2
		atTop = excess(top)
	}
	return low, crossing(excess, sd, -rise, top, atTop)
}

// crossing finds where f is 0 between in, where it is fin < 0, and out, where
// it is fout > 0: false position, the end that stays weighing half as much each
// time (Illinois).
func crossing(f func(float64) float64, in, fin, out, fout float64) float64 {
	const close, tries = 0.003, 40
	x := out
	for range tries {
		x = in + (out-in)*fin/(fin-fout)
		switch v := f(x); {
		case math.Abs(v) < close:
			return x
		case v < 0:
			in, fin, fout = x, v, fout/2
		default:
			out, fout, fin = x, v, fin/2
		}
	}
	return x
}

// profile is the least criterion with one standard deviation fixed, and the standard
// deviations there. The search is over the logarithm of the residual's, which cannot
// be 0.
func (e *estimate) profile(k int, value float64, near []float64) (least float64, at []float64) {
	last := len(e.sd) - 1
	if k == last {
		value = max(value, 1e-3*e.sd[last])
	}
	at = append([]float64(nil), near...)
	at[k] = value
	unpack := func(x []float64) []float64 {
		sd := append([]float64(nil), at...)
		for i, j := 0, 0; j < len(sd); j++ {
			if j == k {
				continue
			}
			if sd[j] = x[i]; j == last {
				sd[j] = math.Exp(x[i])
			}
			i++
		}
		return sd
	}
	var x []float64
	for j, sd := range near {
		switch {
		case j == k:
		case j == last:
			x = append(x, math.Log(sd))
		default:
			x = append(x, max(math.Abs(sd), 0.02*near[last])) // 0 is stationary: do not start there
		}
	}
	f := func(x []float64) float64 { return e.sample.criterion(unpack(x)) }
	if len(x) == 0 {
		return f(x), at
	}
	problem := optimize.Problem{Func: f, Grad: func(grad, x []float64) {
		fd.Gradient(grad, f, x, &fd.Settings{Formula: fd.Central, Step: 1e-5})
	}}
	// The line search may give up where differences drown in rounding: what it
	// has reached by then is near enough.
	result, err := optimize.Minimize(problem, x, &optimize.Settings{
		Converger: &optimize.FunctionConverge{Absolute: 1e-4, Iterations: 2},
	}, &optimize.BFGS{})
	if result == nil || err != nil && math.IsInf(result.F, 0) {
		return math.Inf(1), at
	}
	return result.F, unpack(result.X)
}
