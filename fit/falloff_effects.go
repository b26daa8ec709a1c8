package fit

import (
	"fmt"
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"
)

// CellEffects are the random effects that a falloff model finds in cells, its parameters
// and standard deviations given: the conditional modes of the mixed model.
type CellEffects struct {
	Model *Falloff
	Cells []cell.Cell // those of the model's excitation
	Sites []*curve.Site
	Lift  []float64 // of each cell's strings: how much higher they lie than was said, mm

	mixed *solve.Mixed // made linear at Lift, the curve's parameters as fixed effects
	sites *sites
	fit   *solve.MixedFit
}

// effectsRounds is how often the curve is made linear at the last lifts and cells are
// weighed. Lifts are a few hundredths of a mm, so that the second round changes little.
const effectsRounds = 4

// EffectsOf finds the effects in cells. Cells that skip returns true for have no
// weight: their effects are those that the other cells tell. A nil skip skips none.
func (f *Falloff) EffectsOf(cells []cell.Cell, skip func(*cell.Cell) bool) (*CellEffects, error) {
	cells = slices.DeleteFunc(slices.Clone(cells), func(c cell.Cell) bool { return c.Excite != f.Excite })
	if len(cells) == 0 {
		return nil, fmt.Errorf("no cell plucked by %q, as the model was", f.Excite)
	}
	m := &CellEffects{Model: f, Cells: cells, sites: f.sitesOf(cells), Lift: make([]float64, len(cells)), mixed: f.mixedModel(cells)}
	for i := range cells {
		m.Sites = append(m.Sites, m.sites.at(i))
	}
	var at *tangent
	for range effectsRounds {
		m.reweigh(skip)
		at = f.tangent(m.mixed, m.sites, m.lifts())
		at.known = true
		if err := m.solve(at); err != nil {
			return nil, err
		}
	}
	at.known = false
	return m, nil
}

// reweigh weighs the cells as the fit does.
func (m *CellEffects) reweigh(skip func(*cell.Cell) bool) {
	for i := range m.Cells {
		switch {
		case skip != nil && skip(&m.Cells[i]):
			m.mixed.Weight[i] = 0
		case m.fit != nil:
			m.mixed.Weight[i] = huberWeight(m.mixed, m.fit, m.Model.SDs[0], m.Cells, i)
		}
	}
}

// solve finds the effects in the cells' levels less the curve's.
func (m *CellEffects) solve(at *tangent) (err error) {
	m.mixed.Given = at
	if m.fit, err = m.mixed.At(m.Model.SDs[0], m.Model.SDs[1:]); err != nil {
		return err
	}
	for i := range m.Lift {
		m.Lift[i] = m.Value(curve.MountingEffect, i)
	}
	return nil
}

// lifts are those that the last solution says of mountings; nil without one.
func (m *CellEffects) lifts() []float64 {
	if m.fit == nil {
		return nil
	}
	return liftsOf(m.fit)
}

// LevelOf is the number of the level of effect k that a cell belongs to; -1 when it has
// no part in the effect.
func (m *CellEffects) LevelOf(k, cell int) int { return m.mixed.Terms[k].Level.At(cell) }

// Value is the value of effect k in a cell, ln v (of setup mm); 0 when the cell has no
// part in it.
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
		if k == curve.MountingEffect {
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

// Posterior is the mixed model solved for the effects and the curve's parameters
// together, the standard deviations given: covariances are read from it.
type Posterior struct {
	*CellEffects
	*solve.Posterior
}

// Posterior solves for effects and parameters together.
func (m *CellEffects) Posterior() (*Posterior, error) {
	p, err := m.mixed.Posterior(m.Model.SDs[0], m.Model.SDs[1:])
	if err != nil {
		return nil, err
	}
	return &Posterior{m, p}, nil
}
