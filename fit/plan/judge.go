package plan

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// Judgement is what to expect of a pickup built with these pole heights. Lists
// are by string, string 1 first.
//
// Chances run over the model's uncertainty, magnets and strings as the model
// takes them to vary, and the setting error of each pole, independent of the
// others and passed on by the slope of the level at these heights.
type Judgement struct {
	Heights   []float64  `json:"heights_mm"`
	Gaps      []float64  `json:"gap_mm"`
	Level     []float64  `json:"level_mv"`     // RMS, mean prediction
	Balance   []float64  `json:"balance_db"`   // against the mean of all strings in dB
	Deviation []float64  `json:"deviation_db"` // balance less wanted offset
	Slope     []float64  `json:"db_per_01mm"`  // dB that a string gains when its own pole rises by 0.1 mm
	Spread    float64    `json:"spread_db"`    // expected spread of the deviations
	Spread95  [2]float64 `json:"spread_db_95"` // 2.5 % and 97.5 % points of that spread
	Meets     float64    `json:"meets"`        // chance that every string is within tolerance
}

// judge works out the judgement of a stagger.
func (j *job) judge(heights []float64) (Judgement, error) {
	v, err := j.levels(heights)
	if err != nil {
		return Judgement{}, err
	}
	out := Judgement{Heights: slices.Clone(heights), Balance: balance(v)}
	slopes := j.slopes(heights)
	for i := range v {
		out.Gaps = append(out.Gaps, j.setup.StringHeights[i]-heights[i])
		out.Level = append(out.Level, math.Exp(v[i]))
		out.Deviation = append(out.Deviation, out.Balance[i]-j.offset[i])
		out.Slope = append(out.Slope, 0.1*decibel*slopes.At(i, i))
	}
	root, err := j.root(heights, slopes)
	if err != nil {
		return Judgement{}, err
	}
	spreads, met := j.simulate(out.Deviation, root, j.opt.Draws)
	out.Spread = stat.Mean(spreads, nil)
	out.Meets = float64(met) / float64(len(spreads))
	slices.Sort(spreads)
	for i, p := range []float64{0.025, 0.975} {
		out.Spread95[i] = stat.Quantile(p, stat.LinInterp, spreads, nil)
	}
	return out, nil
}

// levels is the mean prediction of ln v, finite or an error.
func (j *job) levels(heights []float64) ([]float64, error) {
	v := j.model.Level(nil, j.setup, heights)
	for i, y := range v {
		if math.IsNaN(y) || math.IsInf(y, 0) {
			return nil, fmt.Errorf("%s: the model predicts no level for a pole of %.2f mm", j.name(i), heights[i])
		}
	}
	return v, nil
}

// balance turns ln v into dB against the mean of all strings.
func balance(v []float64) []float64 {
	m, b := stat.Mean(v, nil), make([]float64, len(v))
	for i := range v {
		b[i] = decibel * (v[i] - m)
	}
	return b
}

// slopes is the change of ln v of each string (rows) by the height of each
// pole (columns), per mm, over 0.1 mm about these heights.
func (j *job) slopes(heights []float64) *mat.Dense {
	const half = 0.05 // mm
	n := len(heights)
	d := mat.NewDense(n, n, nil)
	at := slices.Clone(heights)
	lower, upper := make([]float64, n), make([]float64, n)
	for k := range n {
		at[k] = heights[k] - half
		j.model.Level(lower, j.setup, at)
		at[k] = heights[k] + half
		j.model.Level(upper, j.setup, at)
		at[k] = heights[k]
		for i := range n {
			d.Set(i, k, (upper[i]-lower[i])/(2*half))
		}
	}
	return d
}

// root is the symmetric square root, in dB, of the covariance of the deviations
// of one built pickup. A covariance of less than full rank is no trouble (what
// balance takes out is one such direction), and where axes are equally long it
// does not matter which way they point.
func (j *job) root(heights []float64, slopes *mat.Dense) (*mat.Dense, error) {
	n := len(heights)
	c := mat.NewSymDense(n, nil)
	c.SymOuterK(j.opt.SettingSD*j.opt.SettingSD, slopes)
	c.AddSym(c, j.model.Uncertainty(j.setup, heights))
	c.ScaleSym(decibel*decibel, c)
	if x := mat.Sum(c); math.IsNaN(x) || math.IsInf(x, 0) {
		return nil, fmt.Errorf("the model's uncertainty at heights %.2f mm is not a number", heights)
	}
	var e mat.EigenSym
	if !e.Factorize(centre(c), true) {
		return nil, fmt.Errorf("the model's uncertainty at heights %.2f mm has no square root", heights)
	}
	var axes, scaled, root mat.Dense
	e.VectorsTo(&axes)
	lengths := e.Values(nil)
	for k, value := range lengths {
		lengths[k] = math.Sqrt(max(0, value))
	}
	scaled.Mul(&axes, mat.NewDiagDense(n, lengths))
	root.Mul(&scaled, axes.T())
	return &root, nil
}

// centre is the covariance of what is left when the strings' mean is taken out.
func centre(c *mat.SymDense) *mat.SymDense {
	n := c.SymmetricDim()
	rows := make([]float64, n)
	for i := range n {
		for k := range n {
			rows[i] += c.At(i, k) / float64(n)
		}
	}
	out, all := mat.NewSymDense(n, nil), stat.Mean(rows, nil)
	for i := range n {
		for k := i; k < n; k++ {
			out.SetSym(i, k, c.At(i, k)-rows[i]-rows[k]+all)
		}
	}
	return out
}

// simulate builds a pickup for each of the first count points: it returns the
// spread of its deviations in dB, and how many pickups have every string within
// tolerance.
func (j *job) simulate(deviation []float64, root *mat.Dense, count int) (spreads []float64, met int) {
	n, r := len(deviation), root.RawMatrix().Data
	spreads = make([]float64, count)
	for d := range spreads {
		z := j.points[d*n : (d+1)*n]
		lo, hi := math.Inf(1), math.Inf(-1)
		for i, x := range deviation {
			for k, v := range r[i*n : (i+1)*n] {
				x += v * z[k]
			}
			lo, hi = min(lo, x), max(hi, x)
		}
		spreads[d] = hi - lo
		if -lo <= j.order.Tolerance && hi <= j.order.Tolerance {
			met++
		}
	}
	return spreads, met
}

// primes span the points of as many strings as a jig can have.
var primes = [...]float64{2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37}

// normalPoints are count points in n dimensions that fill the standard normal
// distribution evenly, row by row: multiples of the roots of primes, folded
// (Richtmyer's rule with the baker's transformation, as in A. Genz and F. Bretz,
// Computation of Multivariate Normal and t Probabilities, 2009; cited from
// memory). There is no chance in them, so that the same figures come out every
// time.
func normalPoints(count, n int) []float64 {
	points := make([]float64, 0, count*n)
	for d := 1; d <= count; d++ {
		for _, p := range primes[:n] {
			_, f := math.Modf(float64(d) * math.Sqrt(p))
			points = append(points, math.Sqrt2*math.Erfinv(2*math.Abs(2*f-1)-1))
		}
	}
	return points
}
