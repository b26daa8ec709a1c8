package screen

import (
	"math"
	"slices"
)

const (
	largeRecord = 10000 // cells from which on a record is; one of fewer is fitted in no time
	fewCells    = 0.01  // share of the cells up to which a correction is one of few
	mostMoved   = 0.01  // standard deviations of a cell's own scatter, root mean square: less makes no difference to evidence
	againRounds = 4     // in which the weights of a corrected pickup's cells settle
)

// correct takes over cells that are put right by apply, and says which pickups that
// concerns; false where the model has to be fitted anew. The curve's place of linearity,
// the scatter and the weights of all other pickups' cells stay. How far this moves what the
// record lets expect of those is added to m.moved.
func (m *levelModel) correct(accepted []*hypothesis, apply func()) (concerned []*pickup, ok bool) {
	concerned, cells := m.concerned(accepted)
	if concerned == nil {
		return nil, false
	}
	e := m.elimination()
	defer m.room.Put(e)
	clear(m.total.weighted) // all is beside given.mean
	for _, p := range concerned {
		e.eliminate(p)
		addInformation(e.a, e.b, e.params, p, m.total, -1)
	}
	apply()
	m.fileAnew(concerned, cells)
	m.settle(concerned)
	for _, p := range concerned {
		e.eliminate(p)
		addInformation(e.a, e.b, e.params, p, m.total, 1)
	}
	step := m.total.posterior()
	m.moved += math.Sqrt(max(0, inner(step.mean, m.total.weighted)) / float64(len(m.cells)))
	m.given.cov = step.cov
	addScaled(m.given.mean, 1, step.mean)
	m.forgetLocals()
	return concerned, m.moved <= mostMoved
}

// concerned lists the pickups that corrections are about, and the cells that they correct;
// nil where the record is not large, or these are not few or have part in effects that no
// cell as filed had, or a pickup is left without cells.
func (m *levelModel) concerned(accepted []*hypothesis) (pickups []*pickup, cells []int) {
	if len(m.cells) < largeRecord {
		return nil, nil
	}
	left := map[*pickup]int{}
	for _, h := range accepted {
		for i, c := range h.corrected {
			to, known := m.number[c.Pickup]
			if !known || m.classes.of[classKeyOf(c)] == nil {
				return nil, nil
			}
			cells = append(cells, i)
			for _, p := range []*pickup{m.all[m.number[m.cells[i].Pickup]], m.all[to]} {
				if _, seen := left[p]; !seen {
					left[p] = len(p.cells)
					pickups = append(pickups, p)
				}
			}
			left[m.all[m.number[m.cells[i].Pickup]]]--
			left[m.all[to]]++
		}
	}
	if float64(len(cells)) > fewCells*float64(len(m.cells)) {
		return nil, nil
	}
	for _, n := range left {
		if n == 0 {
			return nil, nil
		}
	}
	slices.SortFunc(pickups, func(a, b *pickup) int { return a.number - b.number })
	return pickups, cells
}

// fileAnew files the cells of pickups by what they seem to be by now.
func (m *levelModel) fileAnew(pickups []*pickup, corrected []int) {
	var cells []int
	for _, p := range pickups {
		cells = append(cells, p.cells...)
		for _, i := range p.cells {
			delete(m.sessions, session{p.number, m.cells[i].Session}) // the session is as filed
		}
		*p = pickup{name: p.name, number: p.number}
	}
	slices.Sort(cells)
	for _, i := range corrected {
		m.class[i], m.weight[i] = m.classes.of[classKeyOf(m.cells[i])], 1
		m.velocity[i] = m.curve.CellSite(m.cells[i], 0).Velocity
	}
	m.file(m.cells, m.class, slices.Values(cells))
}

// settle finds the weights of the cells of pickups, the shared unknowns given.
func (m *levelModel) settle(pickups []*pickup) {
	inChunks(len(pickups), func(_, from, to int) {
		e, w := m.elimination(), reweighing{opened: newOpened(m)}
		defer m.room.Put(e)
		still, zs := make([]float64, len(m.mean)), make([]float64, len(m.cells))
		for _, p := range pickups[from:to] {
			w.open(p)
			for range againRounds {
				e.eliminate(p)
				w.reweigh(e.inverse, still, zs)
			}
		}
	})
}
