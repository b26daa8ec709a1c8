package fit

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// The log-linear baselines: ln v of a cell is its pickup's own level plus a sum
// of terms, each in proportion to one thing that a bench can measure,
//
//	ln v = level(pickup) + sum_j b_j x_j + e
//
// by least squares over cells, all of one weight. Pickups' levels are
// eliminated first. What e holds differs from cell to cell: magnets, strings,
// the heights as they were set. A magnet's share of e is the same in all cells
// of its pole, but is taken for independent here, so that standard errors come
// out somewhat small.

// term is one x of a log-linear model.
type term struct {
	name  string
	unit  string
	sign  float64                    // of the estimate, as physics has it
	of    func(c *cell.Cell) float64 // x
	moves func(c *cell.Cell) float64 // what a bench moves to tell it; nil = of
	least float64                    // root mean square of what must have moved apart from the terms before
	tell  string                     // why the data cannot tell it, and what would
}

// Heights must have moved by as much as they can be measured to; cores by
// as much as one gauge differs from the next.
var (
	onPoleHeight = term{
		name: "pole_height", unit: "dB/mm", sign: 1, least: 0.05,
		of:   func(c *cell.Cell) float64 { return c.PoleHeight },
		tell: "pole heights did not differ within a pickup, so that their effect cannot be told: capture pickups whose poles differ by a millimetre or more",
	}
	onStringHeight = term{
		name: "string_height", unit: "dB/mm", sign: -1, least: 0.05,
		of:    func(c *cell.Cell) float64 { return c.StringHeight + c.Radius() },
		moves: func(c *cell.Cell) float64 { return c.StringHeight },
		tell:  "string heights did not differ within a pickup, so that the effect of the gap cannot be told from that of the pole height: capture a pickup again with its strings a millimetre higher",
	}
	onGap = term{
		name: "gap", unit: "dB/mm", sign: -1, least: 0.05,
		of:    func(c *cell.Cell) float64 { return c.Gap() + c.Radius() },
		moves: (*cell.Cell).Gap,
		tell:  "gaps did not differ within a pickup, so that their effect cannot be told: capture pickups whose poles differ by a millimetre or more",
	}
	onCore = term{
		name: "core", unit: "dB per ln mm", sign: 1, least: 0.02,
		of:   func(c *cell.Cell) float64 { return math.Log(c.Core) },
		tell: "cores did not differ within a pickup, so that strings of another core cannot be told from these: capture a set of other gauges",
	}
)

// words is the term's name as people say it.
func (t term) words() string { return strings.ReplaceAll(t.name, "_", " ") }

// logKind is a kind of log-linear model.
type logKind struct {
	name  string
	terms []term // in the order in which they claim what the data tell
}

// The one takes pole height and, where it moved apart from that, string height:
// together they are the gap and what a pole's height does at a given gap. The
// other takes the gap alone. Both run to the string's axis, which predicts
// pickups left out better than to its underside.
var (
	logHeight = logKind{"loglinear-height", []term{onPoleHeight, onCore, onStringHeight}}
	logGap    = logKind{"loglinear-gap", []term{onGap, onCore}}
)

func (k logKind) kind() Kind {
	return Kind{
		Name:   k.name,
		Fit:    func(d *cell.Data) (Model, error) { return k.fit(d) },
		decode: func(state []byte) (Model, error) { return k.decode(state) },
	}
}

// logLinear is a fitted log-linear model: the state in its file.
type logLinear struct {
	kind  string
	terms []term // as named by Terms

	Terms  []string            `json:"terms"`
	B      []float64           `json:"b"`          // ln v per unit of x
	Cov    [][]float64         `json:"covariance"` // of B
	Centre []float64           `json:"centre"`     // x of the mean pickup
	Mean   float64             `json:"level"`      // ln v of the mean pickup, there
	MeanSE float64             `json:"level_se"`
	SD     float64             `json:"residual_sd"` // ln v
	Excite profiles.Excitation `json:"excite"`      // of the cells that it was fitted to
	Range  Range               `json:"range"`
	Told   []string            `json:"notes"`
}

// fit fits the terms that the data can tell.
func (k logKind) fit(d *cell.Data) (*logLinear, error) {
	const need = "capture a pickup with strings of several gauges over poles of several heights"
	if len(d.Cells) == 0 {
		return nil, &CannotFitError{fmt.Sprintf("no good take among %d readings", d.Readings), need}
	}
	m := &logLinear{kind: k.name}
	excite, cells, note := cell.OneExcite(d.Cells)
	m.Excite = excite
	if note != "" {
		m.note("%s", note)
	}
	cells = cell.Trusted(cells) // a least-squares line would follow a mistake
	g := byPickup(cells)
	m.choose(g, cells, k.terms)
	if len(m.terms) == 0 {
		have := fmt.Sprintf("%s make %s of %s, which differ too little in height, gap and core or are too few",
			counted(d.Readings, "reading"), counted(len(cells), "cell"), counted(g.n, "pickup"))
		return nil, &CannotFitError{have, need}
	}
	x, centre := g.centred(columns(m.terms, cells))
	y, level := g.centred(levelsOf(cells))
	lsq, err := solve.Linear(x, y.RawMatrix().Data)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", k.name, err)
	}
	m.B, m.Centre, m.Mean = lsq.B, centre, level[0]
	m.SD = lsq.SD(g.n)
	m.Cov = rowsOf(lsq.Cov, m.SD*m.SD)
	m.MeanSE = m.levelError(g, cells)
	m.Range = rangeOf(cells)
	m.judge(cells, lsq.R)
	return m, nil
}

// counted reads "1 cell" or "2 cells".
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

func (m *logLinear) note(format string, args ...any) {
	m.Told = append(m.Told, fmt.Sprintf(format, args...))
}

// choose takes the terms that the cells can tell and that they suffice for,
// and notes the others.
func (m *logLinear) choose(g groups, cells []cell.Cell, terms []term) {
	for _, t := range terms {
		switch {
		case len(cells)-g.n-len(m.terms) < 2: // one degree of freedom stays for the residual
			m.note("%s of %s are too few to tell the effect of the %s: capture more", counted(len(cells), "cell"), counted(g.n, "pickup"), t.words())
		case m.apart(g, cells, t) < t.least:
			m.note("%s", t.tell)
		default:
			m.terms = append(m.terms, t)
			m.Terms = append(m.Terms, t.name)
		}
	}
}

// apart is how far what moves a term moved apart from the pickups' levels and
// the terms taken so far: the root mean square of what they leave of it.
func (m *logLinear) apart(g groups, cells []cell.Cell, t term) float64 {
	if t.moves != nil {
		t.of = t.moves
	}
	y, _ := g.centred(columns([]term{t}, cells))
	left := y.RawMatrix().Data
	if len(m.terms) > 0 {
		x, _ := g.centred(columns(m.terms, cells))
		lsq, err := solve.Linear(x, left)
		if err != nil {
			return 0
		}
		left = lsq.R
	}
	return math.Sqrt(solve.SumSquares(left) / float64(len(left)))
}

// levelError is the standard error of Mean: from how pickups differ, or from
// the cells of a single one.
func (m *logLinear) levelError(g groups, cells []cell.Cell) float64 {
	if g.n < 2 {
		return m.SD / math.Sqrt(float64(len(cells)))
	}
	left := make([]float64, len(cells))
	for i := range cells {
		left[i] = cells[i].Mean - m.at(&cells[i])
	}
	return solve.StdDev(g.means(mat.NewDense(len(left), 1, left)).RawMatrix().Data) / math.Sqrt(float64(g.n))
}

// judge notes what looks wrong about a fit and its cells.
func (m *logLinear) judge(cells []cell.Cell, residuals []float64) {
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
			m.note("lines %s (pickup %q, string %d) are %+.1f dB off what the other cells say: check their heights, string and levels", c.Lines(), c.Pickup, c.String, level.PerLn*r)
		}
	}
}

func risesOrFalls(b float64) string {
	if b < 0 {
		return "falls"
	}
	return "rises"
}

// at is the mean prediction for one cell of the mean pickup.
func (m *logLinear) at(c *cell.Cell) float64 {
	y := m.Mean
	for j, t := range m.terms {
		y += m.B[j] * (t.of(c) - m.Centre[j])
	}
	return y
}

func (m *logLinear) Kind() string        { return m.kind }
func (m *logLinear) Source() string      { return "shop data" }
func (m *logLinear) Notes() []string     { return slices.Clone(m.Told) }
func (m *logLinear) ResidualSD() float64 { return level.PerLn * m.SD }

func (m *logLinear) Parameters() []Parameter {
	out := []Parameter{{Name: "level", Value: level.PerLn * m.Mean, SE: level.PerLn * m.MeanSE, Unit: "dB re 1 mV", FromData: 1}}
	for j, t := range m.terms {
		out = append(out, Parameter{Name: t.name, Value: level.PerLn * m.B[j], SE: level.PerLn * math.Sqrt(m.Cov[j][j]), Unit: t.unit, FromData: 1})
	}
	return out
}

func (m *logLinear) FieldExponent() (b, se float64, ok bool) { return 0, 0, false }
func (m *logLinear) PoleSD() (sd float64, ok bool)           { return 0, false }
func (m *logLinear) PickupSD() (sd float64, ok bool)         { return 0, false }

func (m *logLinear) Expect(cells []cell.Cell) []float64 {
	out := make([]float64, len(cells))
	for i := range cells {
		out[i] = m.at(&cells[i])
		if cells[i].Excite != m.Excite {
			out[i] = math.NaN()
		}
	}
	return out
}

// Level predicts for the mean of the measured pickups.
func (m *logLinear) Level(dst []float64, s *Setup, heights []float64) []float64 {
	if dst == nil {
		dst = make([]float64, len(heights))
	}
	for i := range heights {
		dst[i] = m.at(s.cell(i, heights))
	}
	if to := s.PlayedBy(m.Excite); to != m.Excite {
		for i, v := range curve.Convert(m.Excite, to, s.Strings) {
			dst[i] += v
		}
	}
	return dst
}

// newWrapSD is how far a string may lie off, ln v, when no string of its wrap
// was measured: 1.3 dB, our assumption.
const newWrapSD = 0.15

// Uncertainty is the covariance of the terms' estimates, and the residual
// variance for each string as what differs between builds. The error of the
// mean level, which all strings share, is left out. Strings of one wrap that was
// not measured are off together.
func (m *logLinear) Uncertainty(s *Setup, heights []float64) *mat.SymDense {
	n := len(heights)
	x := mat.NewDense(n, len(m.terms), nil)
	for i := range heights {
		for j, t := range m.terms {
			x.Set(i, j, t.of(s.cell(i, heights))-m.Centre[j])
		}
	}
	estimates := symmetric(m.Cov)
	cov := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			cov.SetSym(i, k, mat.Inner(x.RowView(i), estimates, x.RowView(k)))
			if w := s.Strings[i].Wrap; w == s.Strings[k].Wrap && !m.Range.knows(w) {
				cov.SetSym(i, k, cov.At(i, k)+newWrapSD*newWrapSD)
			}
		}
		cov.SetSym(i, i, cov.At(i, i)+m.SD*m.SD)
	}
	return cov
}

func (m *logLinear) Warnings(s *Setup, heights []float64) []string {
	out := m.Range.warnings(s, heights)
	to := s.PlayedBy(m.Excite)
	switch {
	case to == m.Excite:
	case curve.Convert(m.Excite, to, s.Strings) == nil:
		out = append(out, fmt.Sprintf("levels are for strings excited by %q, not %q: they cannot be converted without each string's note", cmp.Or(m.Excite, "no known means"), to))
	default:
		out = append(out, fmt.Sprintf("measured by %q, converted to %q from the strings' notes and masses", m.Excite, to))
	}
	return append(out, m.untold()...)
}

// untold says what a setup asks for that the model lacks.
func (m *logLinear) untold() []string {
	var out []string
	if !m.has(onPoleHeight) && !m.has(onGap) {
		out = append(out, "the model does not know what pole heights do: "+onPoleHeight.tell)
	}
	if !m.has(onCore) {
		out = append(out, "the model does not know what cores do: "+onCore.tell)
	}
	return out
}

func (m *logLinear) has(t term) bool { return slices.Contains(m.Terms, t.name) }

// cell is one string of a setup over its pole.
func (s *Setup) cell(i int, heights []float64) *cell.Cell {
	str := &s.Strings[i]
	return &cell.Cell{Core: str.Core, Gauge: str.Gauge, Wrap: str.Wrap, PoleHeight: heights[i], StringHeight: s.StringHeights[i]}
}

// decode reads what encoding a logLinear as JSON wrote.
func (k logKind) decode(state []byte) (*logLinear, error) {
	m := &logLinear{kind: k.name}
	if err := json.Unmarshal(state, m); err != nil {
		return nil, err
	}
	for _, name := range m.Terms {
		i := slices.IndexFunc(k.terms, func(t term) bool { return t.name == name })
		if i < 0 {
			return nil, fmt.Errorf("terms: a %s model has no %q", k.name, name)
		}
		m.terms = append(m.terms, k.terms[i])
	}
	return m, m.check()
}

// check refuses a state that no fit can have left.
func (m *logLinear) check() error {
	n := len(m.Terms)
	if n == 0 || len(m.B) != n || len(m.Centre) != n || len(m.Cov) != n {
		return fmt.Errorf("expected terms, b, centre and covariance of one length, got %d, %d, %d, %d", n, len(m.B), len(m.Centre), len(m.Cov))
	}
	for i, row := range m.Cov {
		if len(row) != n || !(row[i] >= 0) {
			return fmt.Errorf("covariance: row %d: expected %d values, none negative on the diagonal", i+1, n)
		}
	}
	if m.SD < 0 || m.MeanSE < 0 {
		return fmt.Errorf("expected deviations that are not negative, got %g and %g", m.SD, m.MeanSE)
	}
	return nil
}
