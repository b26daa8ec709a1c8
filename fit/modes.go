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
		m.sites = append(m.sites, f.cellSite(&cells[i], last[cells[i].Pickup]))
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

// mode is the mode of effect k that a cell has part in; 0 when it has none.
func (m *modes) mode(k, cell int) float64 {
	if m.mixed.Terms[k].Level[cell] < 0 {
		return 0
	}
	return m.fit.U[k][m.mixed.Terms[k].Level[cell]][0]
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
	s      *solution
	shared mat.SymDense // covariance of the shared unknowns
}

func (m *modes) posterior() (*posterior, error) {
	p := &posterior{modes: m}
	if err := m.mixed.prepare(); err != nil {
		return nil, err
	}
	var err error
	if p.s, err = m.mixed.solve(append([]float64{math.Log(m.f.SDs[0])}, m.f.SDs[1:]...)); err != nil {
		return nil, err
	}
	if err := p.s.chol.InverseTo(&p.shared); err != nil {
		return nil, errNotDefinite
	}
	return p, nil
}

// sds returns the posterior standard deviation of each level of effect k, in
// its own unit.
func (p *posterior) sds(k int) ([]float64, error) {
	t, lay := &p.mixed.Terms[k], p.s.lay
	scale := math.Abs(p.s.factors[k].At(0, 0))
	out := make([]float64, t.levels)
	for l := range out {
		var v float64
		if lay.at[k] >= 0 {
			v = p.shared.At(lay.at[k]+l, lay.at[k]+l)
		} else {
			var err error
			if v, err = p.local(lay.group[k][l], lay.local[k][l]); err != nil {
				return nil, err
			}
		}
		out[l] = scale * math.Sqrt(v)
	}
	return out, nil
}

// local is the posterior variance of one unknown of a group, by the block
// inverse: a^-1 + w V w'.
func (p *posterior) local(group, at int) (float64, error) {
	b := p.s.blocks[group]
	n := len(b.local)
	unit := mat.NewVecDense(n, nil)
	unit.SetVec(at, 1)
	var own, through mat.VecDense
	if err := b.chol.SolveVecTo(&own, unit); err != nil {
		return 0, errNotDefinite
	}
	row := b.w.RowView(at)
	through.MulVec(&p.shared, row)
	return own.AtVec(at) + mat.Dot(row, &through), nil
}

// unseen is the covariance of the errors with which cells are predicted that
// had no weight, and whose groups have no other cells, ln v.
func (p *posterior) unseen(cells []int) *mat.SymDense {
	lay := p.s.lay
	shared := mat.NewDense(len(cells), lay.nshared, nil)
	local := make([][]entry, len(cells))
	for i, at := range cells {
		own, rest := p.mixed.row(at, lay, p.s.factors, nil, nil)
		local[i] = own
		for _, e := range rest {
			shared.Set(i, e.at, e.v)
		}
	}
	var half, full mat.Dense
	half.Mul(shared, &p.shared)
	full.Mul(&half, shared.T())
	cov := mat.NewSymDense(len(cells), nil)
	for i := range cells {
		for j := i; j < len(cells); j++ {
			cov.SetSym(i, j, full.At(i, j)+dot(local[i], local[j]))
		}
		cov.SetSym(i, i, cov.At(i, i)+p.noise(cells[i])*p.noise(cells[i]))
	}
	return cov
}

// dot is the product of two rows of unknowns that are independent and of
// variance 1.
func dot(a, b []entry) float64 {
	var sum float64
	for _, e := range a {
		for _, f := range b {
			if e.at == f.at {
				sum += e.v * f.v
			}
		}
	}
	return sum
}
