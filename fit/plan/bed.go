package plan

import (
	"fmt"
	"math"
	"slices"

	"evenpole/fit"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// decibel is the number of dB in one unit of ln v.
const decibel = 20 / math.Ln10

// bed is the ordered pickup under one string set, for poles of any height.
type bed struct {
	name   string // of the string set
	model  fit.Predictor
	setup  *fit.Setup
	offset []float64 // dB, wanted balance by string
	apart  bool      // no string hears its neighbours' poles
}

// levels is the mean prediction of ln v, finite or an error.
func (b *bed) levels(heights []float64) ([]float64, error) {
	v := b.model.Level(nil, b.setup, heights)
	for i, y := range v {
		if math.IsNaN(y) || math.IsInf(y, 0) {
			return nil, fmt.Errorf("%s: the model predicts no level for a pole of %.2f mm", nameOf(b.setup.Strings, i), heights[i])
		}
	}
	return v, nil
}

// lessTarget turns ln v, in place, into dB less the wanted offset.
func (b *bed) lessTarget(v []float64) []float64 {
	for i := range v {
		v[i] = decibel*v[i] - b.offset[i]
	}
	return v
}

// deviations turns levels less target, in place, into deviations: balance less
// wanted offset. The balance of a pickup averages zero, wanted offsets need not.
func (b *bed) deviations(level []float64) []float64 {
	rest := stat.Mean(level, nil) + stat.Mean(b.offset, nil)
	for i := range level {
		level[i] -= rest
	}
	return level
}

// slopes is the change of ln v of each string (rows) by the height of each
// pole (columns), per mm, over 0.1 mm about these heights.
func (b *bed) slopes(heights []float64) *mat.Dense {
	const half = 0.05 // mm
	n := len(heights)
	d := mat.NewDense(n, n, nil)
	at := slices.Clone(heights)
	lower, upper := make([]float64, n), make([]float64, n)
	if b.apart { // all poles at once
		floats.AddConst(-half, at)
		b.model.Level(lower, b.setup, at)
		floats.AddConst(2*half, at)
		b.model.Level(upper, b.setup, at)
		for i := range n {
			d.Set(i, i, (upper[i]-lower[i])/(2*half))
		}
		return d
	}
	for k := range n {
		at[k] = heights[k] - half
		b.model.Level(lower, b.setup, at)
		at[k] = heights[k] + half
		b.model.Level(upper, b.setup, at)
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
func (b *bed) root(heights []float64, slopes *mat.Dense, settingSD float64) ([]float64, error) {
	n := len(heights)
	c := mat.NewSymDense(n, nil)
	c.SymOuterK(settingSD*settingSD, slopes)
	c.AddSym(c, b.model.Uncertainty(b.setup, heights))
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
	return root.RawMatrix().Data, nil
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
