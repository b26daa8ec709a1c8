package fit

import (
	"fmt"
	"math"

	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/mat"
)

// fit fits the terms whose effects the data can tell.
func (k logKind) fit(d *cell.Data) (*logLinear, error) {
	const need = "capture a pickup with strings of several gauges over poles of several heights"
	if len(d.Cells) == 0 {
		return nil, &CannotFitError{fmt.Sprintf("no good take among %d readings", d.Readings), need}
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
	cells = cell.Trusted(cells) // a least-squares line would follow a mistake
	g := byPickup(cells)
	m.chooseTerms(g, cells, k.terms)
	if len(m.terms) == 0 {
		have := fmt.Sprintf("%s make %s of %s, which differ too little in height, gap and core or are too few",
			counted(d.Readings, "reading"), counted(len(cells), "cell"), counted(g.n, "pickup"))
		return nil, &CannotFitError{have, need}
	}
	x, centre := g.centred(columns(m.terms, cells))
	y, mean := g.centred(levelsOf(cells))
	lsq, err := solve.Linear(x, y.RawMatrix().Data)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", k.name, err)
	}
	m.B, m.Centre, m.Mean = lsq.B, centre, mean[0]
	m.SD = lsq.SD(g.n)
	m.Cov = solve.Rows(lsq.Cov, m.SD*m.SD)
	m.MeanSE = m.meanError(g, cells)
	m.Range = rangeOf(cells)
	m.noteDoubts(cells, lsq.R)
	return m, nil
}

func (m *logLinear) note(format string, args ...any) {
	m.Remarks = append(m.Remarks, fmt.Sprintf(format, args...))
}

// chooseTerms takes the terms whose effects the cells can tell, as long as there are
// enough cells, and notes the others.
func (m *logLinear) chooseTerms(g groups, cells []cell.Cell, terms []term) {
	l := newLogLeaver(columnsOf(terms, cells), cells, g, allTrusted)
	taken := l.kind.choose(l.all, func(t term, tooFew bool) {
		if tooFew {
			m.note("%s of %s are too few to tell the effect of the %s: capture more", counted(len(cells), "cell"), counted(g.n, "pickup"), t.words())
		} else {
			m.note("%s", t.cannotTell)
		}
	})
	for _, j := range taken {
		m.terms = append(m.terms, terms[j])
		m.Terms = append(m.Terms, terms[j].name)
	}
}

// columns evaluates terms for cells.
func columns(terms []term, cells []cell.Cell) *mat.Dense {
	x := mat.NewDense(len(cells), len(terms), nil)
	for i := range cells {
		for j, t := range terms {
			x.Set(i, j, t.value(&cells[i]))
		}
	}
	return x
}

// meanError is the standard error of Mean: from how pickups differ, or from
// the cells of a single one.
func (m *logLinear) meanError(g groups, cells []cell.Cell) float64 {
	if g.n < 2 {
		return m.SD / math.Sqrt(float64(len(cells)))
	}
	residuals := make([]float64, len(cells))
	for i := range cells {
		residuals[i] = cells[i].Mean - m.at(&cells[i])
	}
	return solve.StdDev(g.means(mat.NewDense(len(residuals), 1, residuals)).RawMatrix().Data) / math.Sqrt(float64(g.n))
}

// noteDoubts notes estimates against physics, an exact fit, and cells far off.
func (m *logLinear) noteDoubts(cells []cell.Cell, residuals []float64) {
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
	for i, r := range residuals {
		if c := &cells[i]; math.Abs(r) > limit && limit > 0 {
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
