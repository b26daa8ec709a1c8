package fit

import (
	"math"
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// mixedModel lays out the linear mixed model of the cells: all but Y, X and what the
// setup effect multiplies, which linearise writes.
func (f *Falloff) mixedModel(cells []cell.Cell) *solve.Mixed {
	n := len(cells)
	m := &solve.Mixed{
		Y: make([]float64, n), X: mat.NewDense(n, f.Size(), nil), Known: make([]float64, n), Weight: make([]float64, n),
		Prior: f.Priors(), Sigma: curve.ResidualPrior,
	}
	take := cell.TakeVariancesOf(cells)
	for i := range cells {
		c := &cells[i]
		m.Known[i] = take.Of(c) / float64(c.Takes)
		m.Weight[i] = c.Trust()
	}
	for k, e := range effectsIn(cells, f.FieldSD) {
		t := solve.Term{Name: e.Name, Level: numberLevels(cells, e.Level), Spread: e.Spread, Local: e.Local}
		if k == curve.MountingEffect {
			all := make([]float64, n)
			t.Z = make([][]float64, n)
			for i := range t.Z {
				t.Z[i] = all[i : i+1 : i+1]
			}
		}
		m.Terms = append(m.Terms, t)
	}
	m.Group = m.Terms[curve.PickupEffect].Level
	return m
}

// knowPoleFields reports whether fields of poles were measured.
func knowPoleFields(cells []cell.Cell) bool {
	return slices.ContainsFunc(cells, func(c cell.Cell) bool { return c.FieldKnown })
}

// effectsIn are the effects in cells. Where there are several jigs, each has an effect.
// Where fields of poles were measured, poles differ less in what the fields leave; a pole
// whose field was not measured then has a magnet effect, too, of the fields' scatter.
func effectsIn(cells []cell.Cell, fieldSD float64) []curve.Effect {
	out := slices.Clone(curve.Effects)
	if cell.SeveralJigs(cells) {
		out[curve.JigEffect].Level = curve.JigLevel
	}
	if !knowPoleFields(cells) {
		return out
	}
	out[curve.PoleEffect].Spread.SD = 0.03
	out[curve.MagnetEffect].Spread.SD = curve.FixedPriors[curve.FieldExponent].Mean * fieldSD
	out[curve.MagnetEffect].Level = func(c *cell.Cell) curve.EffectLevel {
		if c.FieldKnown {
			return curve.EffectLevel{None: true}
		}
		return out[curve.PoleEffect].Level(c)
	}
	return out
}

// numberLevels gives each cell the number of its level of an effect, in order of
// appearance; -1 to a cell that has no part in it.
func numberLevels(cells []cell.Cell, level func(*cell.Cell) curve.EffectLevel) []int {
	seen := map[curve.EffectLevel]int{}
	out := make([]int, len(cells))
	for i := range cells {
		key := level(&cells[i])
		if key.None {
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

// linearise writes the curve's tangent at the last estimates into the model; lift is
// how much higher each cell's strings lie than was said, mm.
func (f *Falloff) linearise(m *solve.Mixed, cells []cell.Cell, sites []*curve.Site, lift []float64) {
	solve.InParallel(len(sites), func(from, to int) {
		at := f.Curve.At(f.Theta)
		for i := from; i < to; i++ {
			grad := m.X.RawRowView(i)
			value, slope := at.Linear(grad, sites[i], lift[i])
			m.Terms[curve.MountingEffect].Z[i][0] = slope
			m.Y[i] = cells[i].Mean - value + slope*lift[i] + floats.Dot(grad, f.Theta)
		}
	})
}

// huberClip is from how many standard deviations on a cell counts less.
const huberClip = 2.5

// huberWeight is the weight of cell i after a fit: its trust, times P. J. Huber's
// weight of its residual (Robust estimation of a location parameter, Ann. Math. Stat.
// 35, 1964), so that a slip in one cell does not bend the curve.
func huberWeight(m *solve.Mixed, fit *solve.MixedFit, sigma float64, cells []cell.Cell, i int) float64 {
	z := math.Abs(m.Y[i]-fit.Fitted[i]) / math.Sqrt(sigma*sigma+m.Known[i])
	return cells[i].Trust() * min(1, huberClip/z)
}
