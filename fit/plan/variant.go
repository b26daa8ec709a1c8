package plan

import (
	"fmt"
	"math"
	"slices"

	"evenpole/fit"
	"evenpole/fit/level"
	"evenpole/profiles"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// variant is the ordered pickup under one string set, for poles of any height.
type variant struct {
	set         string // name of the string set
	model       fit.Predictor
	setup       *fit.Setup
	target      []float64 // dB, wanted balance by string; its mean is 0
	independent bool      // a string's level depends on its own pole alone
	layout      *profiles.Layout
}

// levels predicts the mean of ln v by string. A level that is not finite is an
// error.
func (v *variant) levels(heights []float64) ([]float64, error) {
	ln := v.model.Level(nil, v.setup, heights)
	for i, y := range ln {
		if math.IsNaN(y) || math.IsInf(y, 0) {
			return nil, fmt.Errorf("%s: the model predicts no level for a pole of %.2f mm", nameOf(v.setup.Strings, i), heights[i])
		}
	}
	return ln, nil
}

// lessTarget converts ln v, in place, to dB and takes the wanted balance off.
func (v *variant) lessTarget(ln []float64) []float64 {
	for i := range ln {
		ln[i] = level.PerLn*ln[i] - v.target[i]
	}
	return ln
}

// deviations converts levels less target, in place, to deviations: balance less
// wanted balance. Neither has a mean.
func (v *variant) deviations(levels []float64) []float64 {
	shared := stat.Mean(levels, nil)
	for i := range levels {
		levels[i] -= shared
	}
	return levels
}

// slopes is the Jacobian of ln v: by how much the level of each string (rows)
// changes with the height of each pole (columns), per mm, from differences over
// 0.1 mm about these heights.
func (v *variant) slopes(heights []float64) *mat.Dense {
	const half = 0.05 // mm
	n := len(heights)
	d := mat.NewDense(n, n, nil)
	at := slices.Clone(heights)
	lower, upper := make([]float64, n), make([]float64, n)
	if v.independent { // all poles at once
		floats.AddConst(-half, at)
		v.model.Level(lower, v.setup, at)
		floats.AddConst(2*half, at)
		v.model.Level(upper, v.setup, at)
		for i := range n {
			d.Set(i, i, (upper[i]-lower[i])/(2*half))
		}
		return d
	}
	for k := range n {
		at[k] = heights[k] - half
		v.model.Level(lower, v.setup, at)
		at[k] = heights[k] + half
		v.model.Level(upper, v.setup, at)
		at[k] = heights[k]
		for i := range n {
			d.Set(i, k, (upper[i]-lower[i])/(2*half))
		}
	}
	return d
}

// root is the symmetric square root, in dB, of the covariance of the deviations
// of one built pickup: the model's covariance and the setting error, passed on by
// the slopes. The covariance may be singular (balance takes out one direction);
// equal eigenvalues do no harm, since any choice of their eigenvectors gives the
// same root.
func (v *variant) root(heights []float64, slopes *mat.Dense, settingSD float64) ([]float64, error) {
	n := len(heights)
	c := mat.NewSymDense(n, nil)
	c.SymOuterK(settingSD*settingSD, v.byPole(slopes))
	c.AddSym(c, v.model.Uncertainty(v.setup, heights))
	c.ScaleSym(level.PerLn*level.PerLn, c)
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

// byPole is the Jacobian by poles: strings that share one have the sum of their columns in
// that of the first of them.
func (v *variant) byPole(slopes *mat.Dense) *mat.Dense {
	if v.layout == nil || v.layout.StringsPerPole < 2 {
		return slopes
	}
	n, _ := slopes.Dims()
	out := mat.NewDense(n, n, nil)
	for k := range n {
		for i := range n {
			to := v.layout.Leader(k)
			out.Set(i, to, out.At(i, to)+slopes.At(i, k))
		}
	}
	return out
}

// centre is the covariance that is left after the strings' mean is subtracted.
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

func nameOf(strings []profiles.String, i int) string {
	if note := strings[i].Note; note != "" {
		return fmt.Sprintf("string %d (%s)", i+1, note)
	}
	return fmt.Sprintf("string %d", i+1)
}

// Setup is the ordered pickup under its own strings, but for the poles' heights.
func Setup(o *profiles.Order) *fit.Setup { return setup(o, o.Strings) }

// setup is the ordered pickup under a string set, but for the poles' heights.
func setup(o *profiles.Order, strings []profiles.String) *fit.Setup {
	s := &fit.Setup{
		Strings:          strings,
		StringHeights:    o.StringHeights(),
		Poles:            o.Poles,
		Batch:            o.Batch,
		Magnets:          o.Magnets,
		ScaleLength:      o.ScaleLength,
		PickupFromBridge: o.PickupFromBridge,
		Excite:           o.Excite,
	}
	s.Spacing = o.Spacing()
	return s
}
