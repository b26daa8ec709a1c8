package report

import (
	"bytes"
	"compress/zlib"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"evenpole/fit/batch"
	"evenpole/fit/drift"
	"evenpole/fit/explain"
	"evenpole/fit/level"
	"evenpole/fit/verdict"
	"evenpole/profiles"
)

// material is what a fuzzer gives the writers to write about.
type material struct {
	name    string
	numbers []byte
}

// number is the next number: one that is not known, one far beyond any that is measured,
// or a common one.
func (m *material) number() float64 {
	if len(m.numbers) == 0 {
		return 1
	}
	b := m.numbers[0]
	m.numbers = m.numbers[1:]
	switch b {
	case 255:
		return math.NaN()
	case 254:
		return 1e9
	case 253:
		return -1e9
	case 252:
		return 1e-9
	}
	return float64(int(b)-126) / 16
}

// known is the next number, 0 for one that is not known.
func (m *material) known() float64 {
	if x := m.number(); !math.IsNaN(x) {
		return x
	}
	return 0
}

func (m *material) figure() level.Figure { return level.Figure(m.number()) }

func (m *material) count(most int) int {
	return int(math.Abs(math.Mod(m.known()*16, float64(most)))) + 1
}

// A writer writes a document about some material.
type writer struct {
	what  string
	write func(w io.Writer, m *material) error
}

// fuzz has one of some writers write, and looks at what was not refused. One at a time,
// as a document takes a millisecond or more.
func fuzz(f *testing.F, writers []writer, sound func(t *testing.T, what string, text []byte)) {
	for i := range writers {
		for _, name := range []string{"E4", hostile, "a\x1b[31mb\u0085\u202e\ufffe\xff", ""} {
			f.Add(uint8(i), name, []byte{128, 255, 254, 253, 252, 126, 0, 251, 140, 150})
		}
		f.Add(uint8(i), strings.Repeat("long ", 30), []byte{200, 140, 150, 130, 120, 110, 126, 127, 160, 142})
	}
	f.Fuzz(func(t *testing.T, which uint8, name string, numbers []byte) {
		var b bytes.Buffer
		w := writers[int(which)%len(writers)]
		if err := w.write(&b, &material{name, numbers}); err == nil {
			sound(t, w.what, b.Bytes())
		}
	})
}

func (m *material) certificate() Papers {
	balances := make([]float64, m.count(12))
	for i := range balances {
		balances[i] = m.number()
	}
	c := certificate(balances...)
	v := c.Verdict
	c.Shop, c.Version = m.name, m.name
	v.Pickup, v.Order, v.Session, v.Jig, v.Batch, v.Remedy = m.name, m.name, m.name, m.name, m.name, m.name
	v.Warnings, v.Notes = []string{m.name}, append(v.Notes, m.name)
	for i := range v.Strings {
		s := &v.Strings[i]
		s.Note, s.Remedy = m.name, m.name
		s.PoleHeight, s.StringHeight, s.Gauge, s.Level, s.Expanded = m.figure(), m.figure(), m.figure(), m.figure(), m.figure()
	}
	v.Spread, v.Certificate = m.figure(), m.count(3)-1
	if m.number() > 0 {
		v.Time, v.Verdict = time.Time{}, verdict.CannotTell
	}
	return c
}

func (m *material) batch() BatchPage {
	strengths := make([]float64, m.count(20))
	for i := range strengths {
		strengths[i] = 250 + m.known()
	}
	p := batchPage(strengths...)
	p.Batch, p.Reference, p.Version, p.Test = m.name, m.name, m.name, m.name
	p.Warnings, p.Notes, p.Reversed = []string{m.name}, []string{m.name}, []string{m.name}
	p.Magnets[0].Name, p.Magnets[0].Outlier = m.name, true
	p.Mean, p.Gap = m.known(), m.figure()
	if m.number() > 0 {
		p.Tolerance, p.Decision, p.Scatter = nil, nil, nil
	} else {
		p.Decision.Limits.Max, p.Tolerance.Low = nil, m.number()
		p.Outliers = []batch.Outlier{{Magnet: m.name, Field: m.number(), Statistic: m.number(), Critical: m.number()}}
	}
	return p
}

func (m *material) poles() PolePicture {
	p := PolePicture{Title: m.name, Beside: m.name, Spacing: m.number(), Diameter: m.known()}
	for i := range m.count(12) {
		p.Poles = append(p.Poles, Pole{i + 1, m.name, m.number(), m.number(), m.number()})
		p.Outline = append(p.Outline, m.known())
	}
	return p
}

func (m *material) chart() (*drift.Chart, error) {
	s := &drift.Series{Subject: m.name, Of: drift.Level, ByDay: true}
	for i := range 2 + m.count(60) {
		s.Values = append(s.Values, drift.Value{Label: m.name, Time: time.Date(2026, 3, 1+i, 8, 0, 0, 0, time.UTC), X: m.number()})
	}
	return drift.Draw(s, drift.Options{})
}

func (m *material) explanation() ExplainPicture {
	x := sample()
	for i := range x.Strings {
		s := &x.Strings[i]
		s.Note, s.Balance, s.Gauge, s.PoleHeight = m.name, m.number(), m.number(), m.number()
		s.Parts["core"], s.Parts["left"] = m.number(), m.number()
	}
	return Explained(m.name, x, profiles.Millimetres)
}

func (m *material) plots() []*Plot {
	d := diagnosis(1 + m.count(3))
	for i := range d.Cells {
		d.Cells[i].Pickup, d.Cells[i].Session = m.name, m.name
		d.Cells[i].Measured, d.Cells[i].Half = m.number(), m.number()
	}
	d.Effects = []explain.EffectGroup{{Name: m.name, Unit: "dB", SD: m.number(), Levels: []explain.EffectLevel{{Name: m.name, Value: m.number(), Half: m.number()}}}}
	return Plots(d, "")
}

// FuzzSVG: every picture is refused or is XML, without a control character and with
// numbers where numbers belong.
func FuzzSVG(f *testing.F) {
	fuzz(f, []writer{
		{"balance", func(w io.Writer, m *material) error { c := m.certificate(); return Balance(w, c.balance()) }},
		{"poles", func(w io.Writer, m *material) error { return Poles(w, m.poles()) }},
		{"gauge", func(w io.Writer, m *material) error { return FullSize(w, m.poles(), "svg") }},
		{"strip", func(w io.Writer, m *material) error { return Strip(w, BatchStrip(m.batch().Report, profiles.Inches)) }},
		{"explain", func(w io.Writer, m *material) error { return Explain(w, m.explanation()) }},
		{"control", func(w io.Writer, m *material) error {
			c, err := m.chart()
			if err != nil {
				return err
			}
			return Control(w, c)
		}},
	}, soundXML)
}

// FuzzPlots is FuzzSVG for the pictures of a model.
func FuzzPlots(f *testing.F) {
	plot := func(w io.Writer, m *material) error {
		all := m.plots()
		if len(all) == 0 {
			return errors.New("nothing to draw")
		}
		return all[m.count(len(all))-1].Write(w)
	}
	fuzz(f, []writer{{"plot", plot}}, soundXML)
}

// FuzzHTML: every page is refused or nests as it should, and has no control character.
func FuzzHTML(f *testing.F) {
	fuzz(f, []writer{
		{"sheet", func(w io.Writer, m *material) error { return WriteSheet(w, m.certificate()) }},
		{"batch", func(w io.Writer, m *material) error { return WriteBatch(w, m.batch()) }},
		{"certificate", func(w io.Writer, m *material) error { return WriteCertificate(w, m.certificate()) }},
	}, soundXML)
}

// FuzzPDF: every document is refused or is a PDF whose objects stand where it says.
func FuzzPDF(f *testing.F) {
	fuzz(f, []writer{
		{"sheet", func(w io.Writer, m *material) error { return WriteSheetPDF(w, m.certificate(), A4) }},
		{"batch", func(w io.Writer, m *material) error { return WriteBatchPDF(w, m.batch(), Letter) }},
		{"gauge", func(w io.Writer, m *material) error { return FullSize(w, m.poles(), "pdf") }},
		{"certificate", func(w io.Writer, m *material) error { return WriteCertificatePDF(w, m.certificate(), Letter) }},
	}, soundPDF)
}

// void are the elements of HTML that have no end.
var void = []string{"meta", "br", "hr", "img", "link", "input", "col", "wbr"}

// geometry are the attributes of a picture that are numbers.
var geometry = []string{"x", "y", "width", "height", "cx", "cy", "r", "x1", "y1", "x2", "y2", "points", "d", "viewBox"}

// soundXML fails on a control character, an element that does not end where it should, and
// an attribute that should be numbers and has none.
func soundXML(t *testing.T, what string, page []byte) {
	t.Helper()
	text, d := string(page), xml.NewDecoder(bytes.NewReader(page))
	if strings.HasPrefix(text, "<!DOCTYPE html>") {
		d.Strict, d.Entity = false, xml.HTMLEntity
	}
	if !utf8.ValidString(text) {
		t.Errorf("%s: not UTF-8", what)
	}
	if i := strings.IndexFunc(text, func(r rune) bool { return unicode.IsControl(r) && !strings.ContainsRune("\n\r\t", r) }); i >= 0 {
		t.Errorf("%s: a control character in %q", what, text[max(0, i-20):i+4])
	}
	var open []string
	for {
		token, err := d.RawToken()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		switch e := token.(type) {
		case xml.StartElement:
			if !slices.Contains(void, e.Name.Local) {
				open = append(open, e.Name.Local)
			}
			for _, a := range e.Attr {
				if slices.Contains(geometry, a.Name.Local) && (strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf")) {
					t.Errorf("%s: %s has %s=%q", what, e.Name.Local, a.Name.Local, a.Value)
				}
			}
		case xml.EndElement:
			if slices.Contains(void, e.Name.Local) {
				continue
			}
			if len(open) == 0 || open[len(open)-1] != e.Name.Local {
				t.Fatalf("%s: </%s> inside %v", what, e.Name.Local, open)
			}
			open = open[:len(open)-1]
		}
	}
	if len(open) > 0 {
		t.Errorf("%s: %v has no end", what, open)
	}
}

var (
	startOfTable = regexp.MustCompile(`startxref\r?\n(\d+)\r?\n%%EOF\s*$`)
	tableHead    = regexp.MustCompile(`^xref\r?\n0 (\d+)\r?\n`)
)

// soundPDF fails unless a file is a PDF with a table of objects, each where the table says,
// and with no NaN or Inf among its operands.
func soundPDF(t *testing.T, what string, text []byte) {
	t.Helper()
	m := startOfTable.FindSubmatch(text)
	if !bytes.HasPrefix(text, []byte("%PDF-1.")) || m == nil {
		t.Fatalf("%s: no head or no end of a PDF", what)
	}
	at, _ := strconv.Atoi(string(m[1]))
	head := tableHead.FindSubmatch(text[min(at, len(text)):])
	if head == nil {
		t.Fatalf("%s: no table of objects at %d", what, at)
	}
	n, _ := strconv.Atoi(string(head[1]))
	entries := text[at+len(head[0]):]
	for i := 1; i < n; i++ {
		offset, err := strconv.Atoi(string(entries[20*i : 20*i+10]))
		if want := fmt.Sprintf("%d 0 obj", i); err != nil || offset > len(text) || !bytes.HasPrefix(text[offset:], []byte(want)) {
			t.Fatalf("%s: object %d is not at %d", what, i, offset)
		}
	}
	for _, stream := range streams.FindAllSubmatch(text, -1) {
		z, err := zlib.NewReader(bytes.NewReader(stream[1]))
		if err != nil {
			continue // not packed: no page
		}
		page, _ := io.ReadAll(z) // of a font it is cut short
		if operator := noNumber.Find(page); operator != nil {
			t.Errorf("%s: a coordinate that is no number: %q", what, operator)
		}
	}
}

// noNumber is an operand of a page that is no number.
var noNumber = regexp.MustCompile(`(?m)(^|\s)[+-]?(NaN|Inf)\s.*$`)
