package report

import (
	"bytes"
	"cmp"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strings"

	"evenpole/fit/level"
	"evenpole/fit/plan"
	"evenpole/fit/verdict"
	"evenpole/profiles"
	"evenpole/report/pdf"
)

// css is the style that all pages share.
func css() template.CSS { return template.CSS(pageCSS) }

//go:embed page.css
var pageCSS string

//go:embed ending.html
var endingHTML string

// ending is how pages for the workshop end.
type ending struct {
	Notes, Cautions         []string
	Footnote, Version, Line string // no line where it is ""
}

//go:embed sheet.html
var sheetHTML string

var sheetTemplate = template.Must(template.New("sheet").Funcs(template.FuncMap{
	"css":       css,
	"wrapWords": wrapWords,
	"mv":        func(x level.Figure) string { return threeDigits(float64(x)) },
	"db":        func(x level.Figure) string { return figure("%+.2f", float64(x)) },
	"target":    func(x float64) string { return figure("%+.2f", x) },
	"plain":     func(x level.Figure) string { return figure("%.2f", float64(x)) },
}).Parse(sheetHTML + endingHTML))

// Texts that the page and the PDF share.
const (
	heading         = "Workshop sheet"
	notesHeading    = "How the figures were made"
	cautionsHeading = "Cautions"
)

// WriteSheet writes the workshop's sheet as one page of HTML that prints on A4 or Letter.
// The same papers give the same bytes: their date is the measurement's.
func WriteSheet(w io.Writer, c Papers) error {
	page, err := c.sheet()
	if err != nil {
		return err
	}
	if page.Balance, err = inline(func(w io.Writer) error { return Balance(w, c.balance()) }); err != nil {
		return err
	}
	if page.Poles, err = inline(func(w io.Writer) error { return Poles(w, c.poles()) }); err != nil {
		return err
	}
	if page.Code, err = codeSVG(c.Line()); err != nil {
		return err
	}
	return fill(w, sheetTemplate, page)
}

// sheet is the page of papers that can be laid out.
func (c *Papers) sheet() (*page, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	return &page{Papers: *c, Cautions: plan.CautionsOf(c.Order), codeUnits: drawCode(nowhere{}, c.Line())}, nil
}

// fill writes what a template makes of data, with figures and their units on one line.
func fill(w io.Writer, t *template.Template, data any) error {
	var text bytes.Buffer
	if err := t.Execute(&text, data); err != nil {
		return err
	}
	return write(w, []byte(pdf.Held(text.String())))
}

// inline is a picture as part of a page.
func inline(draw func(io.Writer) error) (template.HTML, error) {
	var b bytes.Buffer
	err := draw(&b)
	return template.HTML(b.String()), err // the drawing escapes its texts
}

// codeSVG is a QR code as part of a page; "" for a text that is too long for one.
func codeSVG(text string) (template.HTML, error) {
	side := drawCode(nowhere{}, text)
	if side == 0 {
		return "", nil
	}
	return inline(func(w io.Writer) error {
		s := &svg{id: "code"}
		drawCode(s, text)
		return s.write(w, side, side, "QR code", text)
	})
}

// page is what the template sees.
type page struct {
	Papers
	Balance, Poles, Code template.HTML
	Cautions             []string
	codeUnits            float64 // of the QR code's side; 0 without one
}

// Heading is the title, with the certificate's number if it has one.
func (p *page) Heading() string { return p.numbered(heading) }

// Length is a height in the units of the papers.
func (p *page) Length(x level.Figure) string { return length(p.Units, float64(x)) }

// Diameter is a string's.
func (p *page) Diameter(x level.Figure) string { return diameter(p.Units, float64(x)) }

// Gap is from pole to string.
func (p *page) Gap(s verdict.String) string { return p.Length(s.StringHeight - s.PoleHeight) }

// PoleOfSecond is the height of the pole in the second coil.
func (p *page) PoleOfSecond(s verdict.String) string { return p.Length(secondPole(&s)) }

// GapOfSecond is from that pole to the string.
func (p *page) GapOfSecond(s verdict.String) string {
	return p.Length(s.StringHeight - secondPole(&s))
}

// secondPole is the height of a string's pole in the second coil, mm; not known without one.
func secondPole(s *verdict.String) level.Figure {
	if s.PoleHeight2 == nil {
		return level.Figure(math.NaN())
	}
	return *s.PoleHeight2
}

// Unit is that of lengths.
func (p *page) Unit() string { return p.Units.Name() }

// Text is a sentence with its lengths in the units of the papers.
func (p *page) Text(sentence string) string { return p.Units.Text(p.Units.Keys(sentence)) }

// Ending is the page's.
func (p *page) Ending() ending {
	out := ending{Cautions: p.Cautions, Footnote: p.Footnote(), Version: p.Version, Line: p.Line()}
	for _, note := range p.Verdict.Notes {
		out.Notes = append(out.Notes, p.Text(note))
	}
	return out
}

// Footnote says where heights are measured from.
func (p *page) Footnote() string {
	unit := "mm"
	if p.Units == profiles.Inches {
		unit = "inches"
	}
	return "Heights in " + unit + " from the bobbin plane; string 1 is the highest-pitched."
}

// Facts are what the certificate is of.
func (p *page) Facts() [][2]string {
	v, o := p.Verdict, p.Order
	magnets := "not recorded"
	if v.Batch != "" {
		magnets = "batch " + v.Batch
	}
	jig := cmp.Or(v.Jig, "not recorded")
	if v.Session != "" {
		jig += ", " + v.Session
	}
	facts := [][2]string{{"Pickup", v.Pickup}, {"Order", v.Order}, {"Measured", p.Measured()}, {"Magnets", magnets}, {"Poles", o.PolesWords()}, {"Jig, session", jig}}
	for _, f := range [][2]string{{"Product, serial", joined(o.Product, o.Serial)}, {"Built by", o.Operator}} {
		if f[1] != "" {
			facts = append(facts, f)
		}
	}
	return facts
}

// State is what the pickup is meant for, and what it was measured and compared with.
func (p *page) State() [][2]string {
	var out [][2]string
	if text := p.supersedes(); text != "" {
		out = append(out, [2]string{"Takes the place of", text})
	}
	out = append(out, [][2]string{{"Meant for", p.meantFor()}, {"Calibration", cmp.Or(p.Verdict.Calibration, "the jig's gain was not measured: levels are as the jig reads them, balances do not need it")}}...)
	if p.Verdict.Model != "" {
		out = append(out, [2]string{"Model", p.Verdict.Model})
	}
	if r := p.Verdict.Resistance; r != nil {
		text := r.String()
		out = append(out, [2]string{"Coil", strings.ReplaceAll(text, "+-", "±")})
	}
	return out
}

// meantFor is the strings and the instrument that were ordered.
func (p *page) meantFor() string {
	o := p.Order
	set := cmp.Or(o.Set, profiles.Count(len(o.Strings), "string")+" as below")
	radius := "flat fretboard"
	if o.MeasuredHeights != nil {
		radius = "strings as measured"
	}
	if o.FretboardRadius > 0 {
		radius = fmt.Sprintf("fretboard radius %.5g mm", o.FretboardRadius)
	}
	return p.Units.Text(profiles.Sprintf("%s; %s; strings %.2f to %.2f mm over the bobbin plane, %.5g mm from first to last", set, radius, o.StringHeightFirst, o.StringHeightLast, o.StringSpread))
}

// BalanceCaption stands over the chart.
func (p *page) BalanceCaption() string {
	text := "Balance: each string's level against the mean of all"
	if p.Verdict.Excite != "" {
		text += fmt.Sprintf(" (excitation: %s)", p.Verdict.Excite)
	}
	if p.Verdict.Spread.Known() {
		text += fmt.Sprintf("; spread %.2f dB", float64(p.Verdict.Spread))
	}
	return text
}

// PolesCaption stands over the poles.
func (p *page) PolesCaption() string {
	text := "Poles as built, and the strings over them, to scale"
	if p.Order.Layout.PolesPerString == 2 { // a reading has one height a string
		text += "; a string's two poles at their mean height"
	}
	return text
}

// Density is the style class of a page with many strings or remarks: its lines stand
// closer, so that it stays one page on paper.
func (p *page) Density() string {
	const manyStrings, manyRemarks = 8, 5
	remarks := len(p.Verdict.Notes)
	for _, l := range p.Lists() {
		remarks += len(l.Points)
	}
	switch {
	case len(p.Verdict.Strings) > manyStrings && remarks > manyRemarks:
		return "dense wordy"
	case len(p.Verdict.Strings) > manyStrings:
		return "dense"
	case remarks > manyRemarks:
		return "wordy"
	}
	return ""
}

// Listing is a heading with its points.
type Listing struct {
	Heading string
	Points  []string
}

// Lists are what there is to do and to know, those that have points.
func (p *page) Lists() []Listing {
	v := p.Verdict
	var remedies, more, causes []string
	for _, s := range v.Strings {
		if s.Remedy != "" {
			remedies = append(remedies, fmt.Sprintf("String %s: %s", name(s.Number, s.Note), s.Remedy))
		}
	}
	for _, m := range v.MoreTakes {
		more = append(more, fmt.Sprintf("String %d: %d more", m.String, m.Takes))
	}
	if v.Diagnosis != nil && v.Verdict != verdict.Conforms {
		causes = slices.Clone(v.Diagnosis.Say())
	}
	all := []Listing{{"What can be done", remedies}, {"Beside what the model expects", causes}, {"More takes wanted", more}, {"Warnings", slices.Clone(v.Warnings)}}
	for _, l := range all {
		for i := range l.Points {
			l.Points[i] = p.Text(l.Points[i])
		}
	}
	return slices.DeleteFunc(all, func(l Listing) bool { return len(l.Points) == 0 })
}

func (c *Papers) poles() PolePicture {
	p := PolePicture{Title: "Poles of pickup " + c.Verdict.Pickup + " as built", Spacing: spacing(c.Order), Units: c.Units}
	for _, s := range c.Verdict.Strings {
		p.Poles = append(p.Poles, Pole{s.Number, s.Note, float64(s.PoleHeight), float64(s.StringHeight), float64(s.Gauge)})
	}
	p.arrange(c.Order)
	if c.Verdict.TwoCoils() {
		p.SecondIs = "narrow: coil 2"
		for i := range c.Verdict.Strings {
			p.Second = append(p.Second, float64(secondPole(&c.Verdict.Strings[i])))
		}
	}
	return p
}

// Sentence is the verdict in words.
func (p *page) Sentence() string {
	sure := fmt.Sprintf("at %g %% coverage", 100*p.Verdict.Coverage)
	if p.Verdict.Looks > 1 {
		sure = fmt.Sprintf("look %d at this pickup, at %.4g %% coverage", p.Verdict.Looks, 100*p.Verdict.GuardCoverage)
	}
	tolerance := fmt.Sprintf("±%g dB of its target", p.Verdict.Tolerance)
	switch p.Verdict.Verdict {
	case verdict.Conforms:
		return fmt.Sprintf("Every string is within %s, with the measurement's uncertainty counted in (%s).", tolerance, sure)
	case verdict.OutOfTolerance:
		if p.named(verdict.OutOfTolerance) == "" {
			return "The balances alone do not fail it: see the warnings."
		}
		return fmt.Sprintf("Not within %s, with the measurement's uncertainty counted in (%s): %s.", tolerance, sure, p.named(verdict.OutOfTolerance))
	}
	if open := p.named(verdict.CannotTell); open != "" {
		return fmt.Sprintf("The measurement does not tell whether every string is within %s (%s): %s.", tolerance, sure, open)
	}
	return "The balances alone do not tell for this order: see the warnings."
}
