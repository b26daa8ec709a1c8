package fit

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// modes are the effects that a falloff model finds in cells, its parameters
// and standard deviations held: the conditional modes of the mixed model.
type modes struct {
	f     *falloff
	cells []Cell // those that the model speaks of
	sites []*site
	lift  []float64  // mm, of each cell's strings
	mixed *Mixed     // around these modes, with the curve's parameters as fixed effects
	fit   *MixedFit  // U holds the modes
	x     *mat.Dense // the curve's derivatives
}

// modesRounds is how often the curve is made linear again at the last lifts,
// and slips weighed anew. Lifts are a few hundredths of a mm, so that the
// second round changes little.
const modesRounds = 4

// modesOf finds the effects in cells. Those that skip names have a place among
// them but no weight; nil skips none.
func (f *falloff) modesOf(cells []Cell, skip func(*Cell) bool) (*modes, error) {
	own := *f // laying out the cells notes what they tell
	f = &own
	cells = slices.DeleteFunc(slices.Clone(cells), func(c Cell) bool { return c.Excite != f.Excite })
	if len(cells) == 0 {
		return nil, fmt.Errorf("no cell plucked by %q, as the model was", f.Excite)
	}
	m := &modes{f: f, cells: cells, lift: make([]float64, len(cells)), mixed: f.mixed(cells)}
	last := lastStrings(cells)
	for i := range cells {
		m.sites = append(m.sites, f.siteOf(&cells[i], last[cells[i].Pickup]))
	}
	m.x = m.mixed.X
	for range modesRounds {
		m.weigh(skip)
		if err := m.solve(); err != nil {
			return nil, err
		}
	}
	m.mixed.X = m.x
	return m, nil
}

// weigh gives slips less weight, as in the fit.
func (m *modes) weigh(skip func(*Cell) bool) {
	for i := range m.cells {
		switch {
		case skip != nil && skip(&m.cells[i]):
			m.mixed.Weight[i] = 0
		case m.fit != nil:
			z := math.Abs(m.mixed.Y[i]-m.fit.Fitted[i]) / m.noise(i)
			m.mixed.Weight[i] = m.cells[i].trust() * min(1, falloffHuber/z)
		}
	}
}

// noise is the standard deviation of what a cell's mean leaves, ln v.
func (m *modes) noise(i int) float64 {
	return math.Sqrt(m.f.SDs[0]*m.f.SDs[0] + m.mixed.Known[i])
}

// solve finds the modes of what the curve leaves.
func (m *modes) solve() (err error) {
	m.mixed.X = m.x
	m.f.linearise(m.mixed, m.cells, m.sites, m.lift)
	m.mixed.X = nil
	for i := range m.cells {
		for j, th := range m.f.Theta {
			m.mixed.Y[i] -= m.x.At(i, j) * th
		}
	}
	if m.fit, err = m.mixed.At(m.f.SDs[0], m.f.SDs[1:]); err != nil {
		return err
	}
	for i := range m.lift {
		m.lift[i] = m.mode(eSetup, i)
	}
	return nil
}

// level numbers the level of effect k that a cell has part in; -1 when it has none.
func (m *modes) level(k, cell int) int { return m.mixed.Terms[k].Level[cell] }

// mode is the mode of effect k that a cell has part in; 0 when it has none.
func (m *modes) mode(k, cell int) float64 {
	if m.level(k, cell) < 0 {
		return 0
	}
	return m.fit.U[k][m.level(k, cell)][0]
}

// shifts is what effect k adds to each cell's level, ln v.
func (m *modes) shifts(k int) []float64 {
	out := make([]float64, len(m.cells))
	for i, s := range m.sites {
		if k == eSetup {
			out[i] = m.f.predict(m.f.Theta, s, m.lift[i]) - m.f.predict(m.f.Theta, s, 0)
		} else {
			out[i] = m.mode(k, i)
		}
	}
	return out
}

// residuals is what the curve and all effects leave of each cell, ln v.
func (m *modes) residuals() []float64 {
	out := make([]float64, len(m.cells))
	for i, s := range m.sites {
		out[i] = m.cells[i].Mean - m.f.predict(m.f.Theta, s, 0)
	}
	for k := range falloffEffects {
		for i, v := range m.shifts(k) {
			out[i] -= v
		}
	}
	return out
}

// posterior is the mixed model solved with the curve's parameters unknown too:
// what covariances are read from.
type posterior struct {
	*modes
	*Posterior
}

func (m *modes) posterior() (*posterior, error) {
	p, err := m.mixed.Posterior(m.f.SDs[0], m.f.SDs[1:])
	if err != nil {
		return nil, err
	}
	return &posterior{m, p}, nil
}
