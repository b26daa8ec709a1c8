package report

import (
	"fmt"
	"io"
	"math"
	"strings"

	"evenpole/fit/explain"
	"evenpole/profiles"
)

// ExplainPicture is the picture of an explanation: a table of bars, a row for
// each cause and a column for each string.
type ExplainPicture struct {
	Title   string
	Notes   []string // lines below the title
	Columns []ExplainColumn
	Heads   []ExplainHead // what is known of the strings
	Rows    []ExplainRow
}

// ExplainColumn is a string.
type ExplainColumn struct {
	String int
	Note   string
}

// ExplainHead is a figure of each string, as text.
type ExplainHead struct {
	Words   string
	Figures []string
}

// ExplainRow is what one cause adds to each string, dB.
type ExplainRow struct {
	Words string
	Parts []float64
	Mark  Mark // Inside a cause, Outside what is not explained, Undecided the sum
}

// Explained is the picture of an explanation. A cause that adds less than 0.005
// dB to every string is named in the notes and has no row. Lengths are told in units.
func Explained(title string, x *explain.Explanation, units profiles.Units) ExplainPicture {
	p := ExplainPicture{Title: title}
	gauges, poles := ExplainHead{Words: "gauge, " + units.Name()}, ExplainHead{Words: "pole height, " + units.Name()}
	for _, s := range x.Strings {
		p.Columns = append(p.Columns, ExplainColumn{s.String, s.Note})
		gauge := figure("%.3f", s.Gauge)
		if units == profiles.Inches && known(s.Gauge) {
			gauge = units.Write("%.3f", s.Gauge)
		}
		gauges.Figures = append(gauges.Figures, gauge)
		poles.Figures = append(poles.Figures, length(units, s.PoleHeight))
	}
	p.Heads = []ExplainHead{gauges, poles}
	with, without := x.Parted()
	for _, c := range with {
		row := ExplainRow{Words: c.Words}
		if c.Name == "left" {
			row.Mark = Outside
		}
		for _, s := range x.Strings {
			row.Parts = append(row.Parts, s.Parts[c.Name])
		}
		p.Rows = append(p.Rows, row)
	}
	sum := ExplainRow{Words: "balance: the sum of these", Mark: Undecided}
	for _, s := range x.Strings {
		sum.Parts = append(sum.Parts, s.Balance)
	}
	p.Rows = append(p.Rows, sum)
	p.Notes = []string{
		"A bar up: for this cause the string is louder than the mean of the strings; a bar down: softer. In decibels (dB).",
		"The bars of a column add up to the string's balance in the last row.",
	}
	if len(without) > 0 {
		p.Notes = append(p.Notes, "Without part here: "+explain.CauseWords(without)+".")
	}
	return p
}

// The picture's measures, in user units.
const (
	explainWidth = 680.0
	explainLeft  = 196.0
	explainRight = 668.0
	mostBars     = 24 // columns that can be read
	rowLeast     = 5.0
	rowRoom      = 27.0  // for a row's figures and what keeps rows apart
	allBars      = 330.0 // height that all bars may take together
)

// Explain draws the picture as SVG. All bars have the same scale, so that
// causes can be compared as well as strings.
func Explain(w io.Writer, p ExplainPicture) error {
	switch n := len(p.Columns); {
	case n == 0:
		return fmt.Errorf("explanation: expected at least one string, got none")
	case n > mostBars:
		return fmt.Errorf("explanation: expected at most %d strings in one picture, got %d", mostBars, n)
	}
	for _, r := range p.Rows {
		if len(r.Parts) != len(p.Columns) {
			return fmt.Errorf("explanation: %s: expected %d parts, one a string, got %d", r.Words, len(p.Columns), len(r.Parts))
		}
	}
	for _, h := range p.Heads {
		if len(h.Figures) != len(p.Columns) {
			return fmt.Errorf("explanation: %s: expected %d figures, one a string, got %d", h.Words, len(p.Columns), len(h.Figures))
		}
	}
	t := newBarTable(p)
	t.hatch()
	t.head()
	for i := range p.Rows {
		t.row(&p.Rows[i])
	}
	t.legend()
	return t.write(w, explainWidth, t.at+22, p.Title, p.words())
}

// barTable is the picture being drawn.
type barTable struct {
	ExplainPicture
	svg
	scale float64 // user units to a dB
	step  float64 // from one string to the next
	at    float64 // how far down it is drawn
}

func newBarTable(p ExplainPicture) *barTable {
	t := &barTable{ExplainPicture: p, svg: svg{id: "explain"}, step: (explainRight - explainLeft) / float64(len(p.Columns))}
	var high float64
	for _, r := range p.Rows {
		up, down := r.reaches()
		high += up + down
	}
	t.scale = 30.0
	if high > 0 {
		t.scale = min(t.scale, allBars/high)
	}
	return t
}

// reaches are the greatest part up and the greatest down, dB.
func (r *ExplainRow) reaches() (up, down float64) {
	for _, v := range r.Parts {
		if known(v) {
			up, down = max(up, v), max(down, -v)
		}
	}
	return up, down
}

func (t *barTable) x(i int) float64 { return explainLeft + (float64(i)+0.5)*t.step }

// head writes the title, the notes and the strings' names.
func (t *barTable) head() {
	t.at = 4
	for _, line := range folded(t.Title, 66) {
		t.at += 20
		t.open("text", attr{"x", 12.0}, attr{"y", t.at}, attr{"style", "font-size:16px;font-weight:bold"})
		t.body.WriteString(escape(line))
		t.close("text")
	}
	t.at += 6
	for _, n := range t.Notes {
		for _, line := range folded(n, 105) {
			t.at += 15
			t.text(12, t.at, "start", line)
		}
	}
	t.at += 26
	t.text(explainLeft-10, t.at, "end", "string")
	for i, c := range t.Columns {
		t.text(t.x(i), t.at, "strong", label(c.String, c.Note, t.step))
	}
	for _, h := range t.Heads {
		t.at += 15
		t.text(explainLeft-10, t.at, "end", h.Words)
		for i, f := range h.Figures {
			t.text(t.x(i), t.at, "mid", f)
		}
	}
	t.at += 8
}

func (t *barTable) row(r *ExplainRow) {
	up, down := r.reaches()
	if r.Mark == Undecided {
		t.at += 4
		t.line(12, t.at, explainRight, t.at, "axis")
	} else {
		t.line(12, t.at, explainRight, t.at, "grid")
	}
	zero := t.at + 4 + max(up*t.scale, rowLeast)
	bottom := zero + max(down*t.scale, rowLeast)
	t.text(12, (t.at+bottom+rowRoom-8)/2+4, "start", r.Words)
	for i, v := range r.Parts {
		t.bar(t.x(i), zero, v, r.Mark)
		t.text(t.x(i), bottom+13, "mid", figure("%+.2f", v))
	}
	t.line(explainLeft, zero, explainRight, zero, "axis")
	t.at = bottom + rowRoom - 8
}

func (t *barTable) bar(x, zero, v float64, m Mark) {
	if !known(v) {
		return
	}
	half := min(0.25*t.step, 16)
	length := math.Abs(v) * t.scale
	t.rect(x-half, zero-max(v, 0)*t.scale, 2*half, length, m.class())
}

// legend explains the fills and shows the scale.
func (t *barTable) legend() {
	t.line(12, t.at, explainRight, t.at, "grid")
	y := t.at + 17
	x := 12.0
	for _, e := range []struct {
		m     Mark
		words string
	}{{Inside, "a cause"}, {Outside, "not explained by the model"}, {Undecided, "the sum"}} {
		if t.has(e.m) {
			t.rect(x, y-11, 18, 12, e.m.class())
			t.text(x+24, y, "start", e.words)
			x += 50 + 6.2*float64(len(e.words))
		}
	}
	db := 1.0
	for db*t.scale < 12 {
		db *= 2
	}
	t.line(explainRight-44, y+1, explainRight-44, y+1-db*t.scale, "axis")
	t.line(explainRight-48, y+1, explainRight-40, y+1, "axis")
	t.line(explainRight-48, y+1-db*t.scale, explainRight-40, y+1-db*t.scale, "axis")
	t.text(explainRight-34, y, "start", short(db)+" dB")
}

func (p *ExplainPicture) has(m Mark) bool {
	for _, r := range p.Rows {
		if r.Mark == m {
			return true
		}
	}
	return false
}

// words describes the picture for screen readers.
func (p *ExplainPicture) words() string {
	var parts []string
	for i, c := range p.Columns {
		var causes []string
		for _, r := range p.Rows {
			causes = append(causes, profiles.Sprintf("%s %s dB", r.Words, figure("%+.2f", r.Parts[i])))
		}
		parts = append(parts, "string "+name(c.String, c.Note)+": "+strings.Join(causes, ", "))
	}
	return strings.Join(parts, "; ") + "."
}
