package fit

import (
	"fmt"
	"math"

	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// fit fits the terms whose effects the data can tell.
func (k logKind) fit(d *cell.Data) (*logLinear, error) {
	const need = "capture a pickup with strings of several gauges over poles of several heights"
	if len(d.Cells) == 0 {
		return nil, noTake(d, need)
	}
	m := &logLinear{kind: k.name}
	excite, cells, note := cell.OneExcite(d.Cells)
	m.Excite = excite
	for _, r := range d.Remarks {
		m.note("%s", r)
	}
	if note != "" {
		m.note("%s", note)
	}
	l := newLogLeaver(k.terms, cells)
	m.fitted = l
	taken := m.chooseTerms(l)
	if len(m.terms) == 0 {
		have := fmt.Sprintf("%s make %s of %s, which differ too little in height, gap and core or are too few",
			profiles.Count(d.Readings, "reading"), profiles.Count(int(l.all.cells), "cell"), profiles.Count(int(l.all.pickups), "pickup"))
		return nil, &CannotFitError{have, need}
	}
	residuals, ok := m.fitTerms(l, taken)
	if !ok {
		return nil, fmt.Errorf("%s: its terms make each other up", k.name)
	}
	m.MeanSE = m.meanError(l, taken)
	m.Range = rangeOf(cells)
	m.noteDoubts(l, residuals)
	return m, nil
}

func (m *logLinear) note(format string, args ...any) {
	m.Remarks = append(m.Remarks, profiles.Sprintf(format, args...))
}

// chooseTerms takes the terms whose effects the cells can tell, as long as there are
// enough cells, and notes the others. It returns their columns.
func (m *logLinear) chooseTerms(l *logLeaver) (taken []int) {
	taken = l.kind.choose(l.all, func(t term, tooFew bool) {
		if tooFew {
			m.note("%s of %s are too few to tell the effect of the %s: capture more", profiles.Count(int(l.all.cells), "cell"), profiles.Count(int(l.all.pickups), "pickup"), t.words())
		} else {
			m.note("%s", t.cannotTell)
		}
	})
	for _, j := range taken {
		m.terms = append(m.terms, l.kind.terms[j])
		m.Terms = append(m.Terms, l.kind.terms[j].name)
	}
	return taken
}

// fitTerms fits the terms in some columns within pickups, and returns what they leave of
// each cell; false where they make each other up. Estimates from sums of products are made
// better by what they leave (iterative refinement), as far as rounding allows.
func (m *logLinear) fitTerms(l *logLeaver, taken []int) (residuals []float64, ok bool) {
	level := l.kind.level()
	normal, ok := l.all.normal(taken)
	if !ok {
		return nil, false
	}
	m.B = normal.solve(l.all.column(level, taken))
	for range 2 {
		var slopes []float64
		residuals, slopes = l.residuals(taken, m.B)
		for i, step := range normal.solve(slopes) {
			m.B[i] += step
		}
	}
	m.Mean = l.mean(level)
	for _, j := range taken {
		m.Centre = append(m.Centre, l.mean(j))
	}
	if df := l.all.cells - float64(len(taken)) - l.all.pickups; df > 0 {
		m.SD = math.Sqrt(solve.SumSquares(residuals) / df)
	}
	m.Cov = solve.Rows(normal.inverse(), m.SD*m.SD)
	return residuals, true
}

// meanError is the standard error of Mean: from how pickups differ, or from
// the cells of a single one.
func (m *logLinear) meanError(l *logLeaver, taken []int) float64 {
	if l.all.pickups < 2 {
		return m.SD / math.Sqrt(l.all.cells)
	}
	var offs []float64
	for k := range l.pickups {
		p := &l.pickups[k]
		if p.n == 0 {
			continue
		}
		off := p.sum[l.kind.level()]
		for x, j := range taken {
			off -= m.B[x] * p.sum[j]
		}
		offs = append(offs, off/p.n)
	}
	return solve.StdDev(offs) / math.Sqrt(l.all.pickups)
}

// noteDoubts notes estimates against physics, an exact fit, and cells far off.
func (m *logLinear) noteDoubts(l *logLeaver, residuals []float64) {
	for j, t := range m.terms {
		wrong := -m.B[j] * t.sign
		switch {
		case wrong > 2*math.Sqrt(m.Cov[j][j]):
			m.note("the level %s with the %s, against physics: look for strings or heights that were mixed up", risesOrFalls(m.B[j]), t.words())
		case wrong > 0:
			m.note("the effect of the %s cannot be told from none: capture pickups that differ more in it", t.words())
		}
	}
	if m.SD < 1e-9 { // no bench repeats itself like that
		m.note("the model leaves nothing of any level: look whether the readings were measured")
		return
	}
	const far = 4 // robust standard deviations: one in 16000 by chance, normal residuals
	limit := far * solve.MADScale * solve.MedianDistance(residuals, 0)
	if limit == 0 {
		return
	}
	for i := range l.cells {
		c := &l.cells[i]
		if !l.trusted(c) {
			continue
		}
		r := residuals[0]
		if residuals = residuals[1:]; math.Abs(r) > limit {
			m.note("lines %s (pickup %q, string %d) are %+.1f dB off what the other cells say: check their heights, string and levels", c.Lines(), c.Pickup, c.String, level.Ln(r).DB())
		}
	}
}

func risesOrFalls(b float64) string {
	if b < 0 {
		return "falls"
	}
	return "rises"
}
