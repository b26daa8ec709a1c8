package fit

import (
	"math"
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"
)

// mixedModel lays out the linear mixed model of the cells: all but its observations, which
// are a tangent.
func (f *Falloff) mixedModel(cells []cell.Cell) *solve.Mixed {
	n := len(cells)
	m := &solve.Mixed{Known: make([]float64, n), Weight: make([]float64, n), Prior: f.Priors(), Sigma: curve.ResidualPrior}
	take := cell.TakeVariancesOf(cells)
	for i := range cells {
		c := &cells[i]
		m.Known[i] = take.Of(c) / float64(c.Takes)
		m.Weight[i] = c.Trust()
	}
	effects := effectsIn(cells, f.FieldSD)
	m.Terms = make([]solve.Term, len(effects))
	solve.InParallelEach(len(effects), func(k int) {
		e := &effects[k]
		m.Terms[k] = solve.Term{Name: e.Name, Level: numberLevels(cells, e.Level), Spread: e.Spread, Local: e.Local, Varies: k == curve.MountingEffect}
	})
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
// appearance; -1 to a cell that has no part in it. It is nil where no cell has.
func numberLevels(cells []cell.Cell, level func(*cell.Cell) curve.EffectLevel) solve.Levels {
	var seen numbered[curve.EffectLevel]
	var out solve.Levels
	for i := range cells {
		key := level(&cells[i])
		if key.None {
			if out != nil {
				out[i] = -1
			}
			continue
		}
		if out == nil {
			out = make(solve.Levels, len(cells))
			for j := range i {
				out[j] = -1
			}
		}
		l, _ := seen.number(key)
		out[i] = int32(l)
	}
	return out
}

// huberClip is from how many standard deviations on a cell counts less.
const huberClip = 2.5

// huberWeight is the weight of cell i after a fit: its trust, times P. J. Huber's
// weight of its residual (Robust estimation of a location parameter, Ann. Math. Stat.
// 35, 1964), so that a slip in one cell does not bend the curve.
func huberWeight(m *solve.Mixed, fit *solve.MixedFit, sigma float64, cells []cell.Cell, i int) float64 {
	z := math.Abs(fit.Residual[i]) / math.Sqrt(sigma*sigma+m.Known[i])
	return cells[i].Trust() * min(1, huberClip/z)
}
