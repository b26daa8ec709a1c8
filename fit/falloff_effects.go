package fit

import (
	"fmt"
	"math"
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/mat"
)

// CellEffects are the effects that a falloff model finds in cells, its parameters
// and standard deviations held: the conditional modes of the mixed model.
type CellEffects struct {
	Model *Falloff
	Cells []cell.Cell // those that the model speaks of
	Sites []*curve.Site
	Lift  []float64       // mm, of each cell's strings
	mixed *solve.Mixed    // around these modes, with the curve's parameters as fixed effects
	fit   *solve.MixedFit // U holds the modes
	x     *mat.Dense      // the curve's derivatives
}

// effectsRounds is how often the curve is made linear again at the last lifts,
// and slips weighed anew. Lifts are a few hundredths of a mm, so that the
// second round changes little.
const effectsRounds = 4

// EffectsOf finds the effects in cells. Those that skip names have a place among
// them but no weight; nil skips none.
func (f *Falloff) EffectsOf(cells []cell.Cell, skip func(*cell.Cell) bool) (*CellEffects, error) {
	own := *f // laying out the cells notes what they tell
	f = &own
	cells = slices.DeleteFunc(slices.Clone(cells), func(c cell.Cell) bool { return c.Excite != f.Excite })
	if len(cells) == 0 {
		return nil, fmt.Errorf("no cell plucked by %q, as the model was", f.Excite)
	}
	m := &CellEffects{Model: f, Cells: cells, Lift: make([]float64, len(cells)), mixed: f.mixedModel(cells)}
	last := cell.LastStrings(cells)
	for i := range cells {
		m.Sites = append(m.Sites, f.CellSite(&cells[i], last[cells[i].Pickup]))
	}
	m.x = m.mixed.X
	for range effectsRounds {
		m.reweigh(skip)
		if err := m.solve(); err != nil {
			return nil, err
		}
	}
	m.mixed.X = m.x
	return m, nil
}

// reweigh gives slips less weight, as in the fit.
func (m *CellEffects) reweigh(skip func(*cell.Cell) bool) {
	for i := range m.Cells {
		switch {
		case skip != nil && skip(&m.Cells[i]):
			m.mixed.Weight[i] = 0
		case m.fit != nil:
			z := math.Abs(m.mixed.Y[i]-m.fit.Fitted[i]) / m.noise(i)
			m.mixed.Weight[i] = m.Cells[i].Trust() * min(1, falloffHuber/z)
		}
	}
}

// noise is the standard deviation of what a cell's mean leaves, ln v.
func (m *CellEffects) noise(i int) float64 {
	return math.Sqrt(m.Model.SDs[0]*m.Model.SDs[0] + m.mixed.Known[i])
}

// solve finds the modes of what the curve leaves.
func (m *CellEffects) solve() (err error) {
	m.mixed.X = m.x
	m.Model.linearise(m.mixed, m.Cells, m.Sites, m.Lift)
	m.mixed.X = nil
	for i := range m.Cells {
		for j, th := range m.Model.Theta {
			m.mixed.Y[i] -= m.x.At(i, j) * th
		}
	}
	if m.fit, err = m.mixed.At(m.Model.SDs[0], m.Model.SDs[1:]); err != nil {
		return err
	}
	for i := range m.Lift {
		m.Lift[i] = m.Value(curve.SetupEffect, i)
	}
	return nil
}

// LevelOf numbers the level of effect k that a cell has part in; -1 when it has none.
func (m *CellEffects) LevelOf(k, cell int) int { return m.mixed.Terms[k].Level[cell] }

// Value is the mode of effect k that a cell has part in; 0 when it has none.
func (m *CellEffects) Value(k, cell int) float64 {
	if m.LevelOf(k, cell) < 0 {
		return 0
	}
	return m.fit.U[k][m.LevelOf(k, cell)][0]
}

// Shifts is what effect k adds to each cell's level, ln v.
func (m *CellEffects) Shifts(k int) []float64 {
	out := make([]float64, len(m.Cells))
	for i, s := range m.Sites {
		if k == curve.SetupEffect {
			out[i] = m.Model.Predict(m.Model.Theta, s, m.Lift[i]) - m.Model.Predict(m.Model.Theta, s, 0)
		} else {
			out[i] = m.Value(k, i)
		}
	}
	return out
}

// Residuals is what the curve and all effects leave of each cell, ln v.
func (m *CellEffects) Residuals() []float64 {
	out := make([]float64, len(m.Cells))
	for i, s := range m.Sites {
		out[i] = m.Cells[i].Mean - m.Model.Predict(m.Model.Theta, s, 0)
	}
	for k := range curve.Effects {
		for i, v := range m.Shifts(k) {
			out[i] -= v
		}
	}
	return out
}

// Posterior is the mixed model solved with the curve's parameters unknown too:
// what covariances are read from.
type Posterior struct {
	*CellEffects
	*solve.Posterior
}

func (m *CellEffects) Posterior() (*Posterior, error) {
	p, err := m.mixed.Posterior(m.Model.SDs[0], m.Model.SDs[1:])
	if err != nil {
		return nil, err
	}
	return &Posterior{m, p}, nil
}
