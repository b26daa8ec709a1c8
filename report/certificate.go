package report

import (
	"bytes"
	"cmp"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"net/url"
	"slices"
	"strings"
	"time"

	"evenpole/fit/level"
	"evenpole/fit/plan"
	"evenpole/fit/verdict"
	"evenpole/profiles"
)

// Certificate is what a finished pickup's certificate says.
type Certificate struct {
	Verdict   *verdict.Verdict
	Order     *profiles.Order
	Shop      string    // who made the pickup; may be empty
	Folder    string    // name of the shop's folder, for the line that leads back to the record
	Predicted []float64 // dB, the plan's balance by string; nil when there is none
	Version   string    // of the program
}

// css is the style that all pages share.
func css() template.CSS { return template.CSS(pageCSS) }

//go:embed page.css
var pageCSS string

//go:embed certificate.html
var certificateHTML string

var certificateTemplate = template.Must(template.New("certificate").Funcs(template.FuncMap{
	"css":    css,
	"mm":     func(x level.Figure) string { return figure("%.2f", float64(x)) },
	"mm3":    func(x level.Figure) string { return figure("%.3f", float64(x)) },
	"mv":     func(x level.Figure) string { return figure("%.3g", float64(x)) },
	"db":     func(x level.Figure) string { return figure("%+.2f", float64(x)) },
	"target": func(x float64) string { return figure("%+.2f", x) },
	"plain":  func(x level.Figure) string { return figure("%.2f", float64(x)) },
	"gap":    func(s verdict.String) string { return figure("%.2f", float64(s.StringHeight-s.PoleHeight)) },
}).Parse(certificateHTML))

// Texts that the page and the PDF share.
const (
	heading         = "Certificate of balance"
	polesCaption    = "Poles as built, and the strings over them, to scale"
	notesHeading    = "How the figures were made"
	cautionsHeading = "Cautions"
	footnote        = "Heights in mm from the bobbin plane; string 1 is the highest-pitched."
)

// WriteCertificate writes one page of HTML that prints on A4 or Letter. The same
// certificate gives the same bytes: its date is the measurement's.
func WriteCertificate(w io.Writer, c Certificate) error {
	page, err := c.page()
	if err != nil {
		return err
	}
	if page.Balance, err = inline(func(w io.Writer) error { return Balance(w, c.balance()) }); err != nil {
		return err
	}
	if page.Poles, err = inline(func(w io.Writer) error { return Poles(w, c.poles()) }); err != nil {
		return err
	}
	if page.codeUnits > 0 {
		page.Code, err = inline(func(w io.Writer) error {
			s := &svg{id: "code"}
			drawCode(s, c.Line())
			return s.write(w, page.codeUnits, page.codeUnits, "QR code", c.Line())
		})
		if err != nil {
			return err
		}
	}
	return fill(w, certificateTemplate, page)
}

// fill writes what a template makes of data.
func fill(w io.Writer, t *template.Template, data any) error {
	var text bytes.Buffer
	if err := t.Execute(&text, data); err != nil {
		return err
	}
	return write(w, text.Bytes())
}

// page checks a certificate before it is laid out.
func (c *Certificate) page() (*page, error) {
	if c.Verdict == nil || c.Order == nil {
		return nil, fmt.Errorf("certificate: expected a verdict and its order")
	}
	if len(c.Verdict.Strings) != len(c.Order.Strings) {
		return nil, fmt.Errorf("certificate: expected the order's %d strings, got %d in the verdict", len(c.Order.Strings), len(c.Verdict.Strings))
	}
	if c.Predicted != nil && len(c.Predicted) != len(c.Verdict.Strings) {
		return nil, fmt.Errorf("certificate: expected %d predictions, one a string, got %d", len(c.Verdict.Strings), len(c.Predicted))
	}
	return &page{Certificate: *c, Cautions: plan.Cautions(c.Order.Poles), codeUnits: drawCode(nowhere{}, c.Line())}, nil
}

// Line is a reference from a certificate to the record: the shop's folder, the
// pickup, its session, the certificate's number, and the first reading as jig/boot/seq. It
// is a URI of our own, so that names may hold anything.
func (c *Certificate) Line() string {
	v := c.Verdict
	line := fmt.Sprintf("evenpole:check?shop=%s&pickup=%s&session=%s", url.QueryEscape(c.Folder), url.QueryEscape(v.Pickup), url.QueryEscape(v.Session))
	if v.Certificate != 0 {
		line += fmt.Sprintf("&certificate=%d", v.Certificate)
	}
	if v.First != "" {
		line += "&first=" + strings.ReplaceAll(url.QueryEscape(v.First), "%2F", "/")
	}
	return line
}

// inline is a picture as part of a page.
func inline(draw func(io.Writer) error) (template.HTML, error) {
	var b bytes.Buffer
	err := draw(&b)
	return template.HTML(b.String()), err // the drawing escapes its texts
}

// page is what the template sees.
type page struct {
	Certificate
	Balance, Poles, Code template.HTML
	Cautions             []string
	codeUnits            float64 // of the QR code's side; 0 without one
}

// Heading is the title, with the certificate's number if it has one.
func (p *page) Heading() string {
	if p.Verdict.Certificate == 0 {
		return heading
	}
	return fmt.Sprintf("%s no. %d", heading, p.Verdict.Certificate)
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
	return [][2]string{{"Pickup", v.Pickup}, {"Order", v.Order}, {"Measured", p.Measured()}, {"Magnets", magnets}, {"Poles", string(o.Poles)}, {"Jig, session", jig}}
}

// State is what the pickup is meant for, and what it was measured and compared with.
func (p *page) State() [][2]string {
	var out [][2]string
	if p.Verdict.Supersedes != 0 {
		out = append(out, [2]string{"Takes the place of", fmt.Sprintf("certificate no. %d, which no longer holds", p.Verdict.Supersedes)})
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
	set := cmp.Or(o.Set, fmt.Sprintf("%d strings as below", len(o.Strings)))
	radius := "flat fretboard"
	if o.FretboardRadius > 0 {
		radius = fmt.Sprintf("fretboard radius %.4g mm", o.FretboardRadius)
	}
	return fmt.Sprintf("%s; %s; strings %.2f to %.2f mm over the bobbin plane, %.4g mm from first to last", set, radius, o.StringHeightFirst, o.StringHeightLast, o.StringSpread)
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

// Density is the style class of a page with many strings or remarks: its lines stand
// closer, so that it stays one page on paper.
func (p *page) Density() string {
	const manyStrings, manyRemarks = 8, 6
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
		causes = v.Diagnosis.Say()
	}
	all := []Listing{{"What can be done", remedies}, {"Beside what the model expects", causes}, {"More takes wanted", more}, {"Warnings", v.Warnings}}
	return slices.DeleteFunc(all, func(l Listing) bool { return len(l.Points) == 0 })
}

func (c *Certificate) balance() BalanceChart {
	chart := BalanceChart{
		Title: "Balance of pickup " + c.Verdict.Pickup, Tolerance: c.Verdict.Tolerance, Predicted: c.Predicted,
	}
	marks := map[verdict.Answer]Mark{verdict.Conforms: Inside, verdict.OutOfTolerance: Outside, verdict.CannotTell: Undecided}
	for _, s := range c.Verdict.Strings {
		chart.Bars = append(chart.Bars, Bar{
			String: s.Number, Note: s.Note, Balance: float64(s.Balance), Expanded: float64(s.Expanded), Target: s.Target, Mark: marks[s.Verdict],
		})
	}
	return chart
}

func (c *Certificate) poles() PolePicture {
	p := PolePicture{Title: "Poles of pickup " + c.Verdict.Pickup + " as built", Spacing: spacing(c.Order)}
	for _, s := range c.Verdict.Strings {
		p.Poles = append(p.Poles, Pole{s.Number, s.Note, float64(s.PoleHeight), float64(s.StringHeight), float64(s.Gauge)})
	}
	return p
}

// Measured is when the session ended, in words.
func (p *page) Measured() string {
	if p.Verdict.Time.IsZero() {
		return "not recorded"
	}
	return p.Verdict.Time.UTC().Format("2 January 2006, 15:04 UTC")
}

// Date is the same for a machine.
func (p *page) Date() string { return p.Verdict.Time.UTC().Format(time.RFC3339) }

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

// named lists the strings with a verdict.
func (p *page) named(d verdict.Answer) string {
	var names []string
	for _, s := range p.Verdict.Strings {
		if s.Verdict == d {
			names = append(names, "string "+name(s.Number, s.Note))
		}
	}
	return strings.Join(names, ", ")
}

// Class is the verdict for the style sheet.
func (p *page) Class() string {
	return map[verdict.Answer]string{verdict.Conforms: "pass", verdict.OutOfTolerance: "fail"}[p.Verdict.Verdict]
}
