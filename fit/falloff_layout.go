package fit

import (
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/mat"
)

// mixedModel lays out the linear mixed model of the cells.
func (f *Falloff) mixedModel(cells []cell.Cell) *solve.Mixed {
	n := len(cells)
	m := &solve.Mixed{
		Y: make([]float64, n), X: mat.NewDense(n, f.Size(), nil), Known: make([]float64, n), Weight: make([]float64, n),
		Prior: f.Priors(), Sigma: curve.ResidualPrior, Rough: true,
	}
	var ss, df float64
	for _, c := range cells {
		ss += c.SD * c.SD * float64(c.Takes-1)
		df += float64(c.Takes - 1)
	}
	take := 0.03 * 0.03 // one take a cell: the usual scatter of a pluck, our assumption
	if df > 0 {
		take = ss / df
	}
	for i, c := range cells {
		m.Known[i] = take / float64(c.Takes)
		m.Weight[i] = c.Trust()
	}
	for k, e := range f.effectsIn(cells) {
		t := solve.Term{Name: e.Name, Level: numberLevels(cells, e.Level), Spread: e.Spread, Local: e.Local}
		if k == curve.SetupEffect {
			t.Z = make([][]float64, n)
			for i := range t.Z {
				t.Z[i] = []float64{0}
			}
		}
		m.Terms = append(m.Terms, t)
	}
	m.Group = m.Terms[0].Level
	return m
}

// effectsIn are those of these cells. Where fields of poles were measured, what is
// left of the differences between poles is less; a pole whose field was not
// measured then differs by its magnet, too.
func (f *Falloff) effectsIn(cells []cell.Cell) []curve.Effect {
	f.PoleFields = slices.ContainsFunc(cells, func(c cell.Cell) bool { return c.FieldKnown })
	if !f.PoleFields {
		return curve.Effects
	}
	out := slices.Clone(curve.Effects)
	out[curve.PoleEffect].Spread.SD = 0.03
	out[curve.MagnetEffect].Spread.SD = curve.FixedPriors[curve.FieldExponent].Mean * f.FieldSD
	out[curve.MagnetEffect].Level = func(c *cell.Cell) string {
		if c.FieldKnown {
			return curve.NoLevel
		}
		return out[curve.PoleEffect].Level(c)
	}
	return out
}

// numberLevels numbers the levels of an effect in order of appearance; -1 is a cell
// that has no part in it.
func numberLevels(cells []cell.Cell, level func(*cell.Cell) string) []int {
	seen := map[string]int{}
	out := make([]int, len(cells))
	for i := range cells {
		key := level(&cells[i])
		if key == curve.NoLevel {
			out[i] = -1
			continue
		}
		l, ok := seen[key]
		if !ok {
			l = len(seen)
			seen[key] = l
		}
		out[i] = l
	}
	return out
}

// linearise writes the curve's tangent at the last estimates into the model.
func (f *Falloff) linearise(m *solve.Mixed, cells []cell.Cell, sites []*curve.Site, lift []float64) {
	grad := make([]float64, f.Size())
	for i, s := range sites {
		slope := f.Gradient(grad, f.Theta, s, lift[i])
		y := cells[i].Mean - f.Predict(f.Theta, s, lift[i]) + slope*lift[i]
		for j, g := range grad {
			m.X.Set(i, j, g)
			y += g * f.Theta[j]
		}
		m.Terms[curve.SetupEffect].Z[i][0] = slope
		m.Y[i] = y
	}
}
