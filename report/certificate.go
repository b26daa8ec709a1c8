package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"
	"time"

	"evenpole/fit/plan"
	"evenpole/fit/verdict"
	"evenpole/profiles"
)

// Certificate is what a finished pickup's certificate says.
type Certificate struct {
	Verdict   *verdict.Verdict
	Order     *profiles.Order
	Shop      string    // who made the pickup; may be empty
	Predicted []float64 // dB, the plan's balance by string; nil when there is none
	Version   string    // of the program
}

//go:embed certificate.html
var certificateHTML string

var certificateTemplate = template.Must(template.New("certificate").Funcs(template.FuncMap{
	"mm":     func(x verdict.Figure) string { return figure("%.2f", float64(x)) },
	"mm3":    func(x verdict.Figure) string { return figure("%.3f", float64(x)) },
	"mv":     func(x verdict.Figure) string { return figure("%.3g", float64(x)) },
	"db":     func(x verdict.Figure) string { return figure("%+.2f", float64(x)) },
	"target": func(x float64) string { return figure("%+.2f", x) },
	"plain":  func(x verdict.Figure) string { return figure("%.2f", float64(x)) },
	"gap":    func(s verdict.String) string { return figure("%.2f", float64(s.StringHeight-s.PoleHeight)) },
	"title":  name,
}).Parse(certificateHTML))

// WriteCertificate writes one page of HTML that prints on A4 or Letter. The same
// certificate gives the same bytes: its date is the measurement's.
func WriteCertificate(w io.Writer, c Certificate) error {
	if c.Verdict == nil || c.Order == nil {
		return fmt.Errorf("certificate: expected a verdict and its order")
	}
	if len(c.Verdict.Strings) != len(c.Order.Strings) {
		return fmt.Errorf("certificate: expected the order's %d strings, got %d in the verdict", len(c.Order.Strings), len(c.Verdict.Strings))
	}
	page := page{Certificate: c, Cautions: plan.Cautions(c.Order.Poles)}
	var err error
	if page.Balance, err = inline(func(w io.Writer) error { return Balance(w, c.balance()) }); err != nil {
		return err
	}
	if page.Poles, err = inline(func(w io.Writer) error { return Poles(w, c.poles()) }); err != nil {
		return err
	}
	return certificateTemplate.Execute(w, page)
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
	Balance, Poles template.HTML
	Cautions       []string
}

func (c *Certificate) balance() BalanceChart {
	chart := BalanceChart{
		Title: "Balance of pickup " + c.Verdict.Pickup, Tolerance: c.Verdict.Tolerance, Predicted: c.Predicted,
	}
	marks := map[verdict.Decision]Mark{verdict.Conforms: Inside, verdict.OutOfTolerance: Outside, verdict.CannotTell: Undecided}
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

// spacing is the distance between an order's strings, mm.
func spacing(o *profiles.Order) float64 {
	return o.StringSpread / math.Max(1, float64(len(o.Strings)-1))
}

// Measured is when the session ended, in words.
func (p page) Measured() string {
	if p.Verdict.Time.IsZero() {
		return "not recorded"
	}
	return p.Verdict.Time.UTC().Format("2 January 2006, 15:04 UTC")
}

// Date is the same for a machine.
func (p page) Date() string { return p.Verdict.Time.UTC().Format(time.RFC3339) }

// Sentence is the verdict in words.
func (p page) Sentence() string {
	sure := fmt.Sprintf("at %g %% coverage", 100*p.Verdict.Coverage)
	tolerance := fmt.Sprintf("±%g dB of its target", p.Verdict.Tolerance)
	switch p.Verdict.Verdict {
	case verdict.Conforms:
		return fmt.Sprintf("Every string is within %s, with the measurement's uncertainty counted in (%s).", tolerance, sure)
	case verdict.OutOfTolerance:
		return fmt.Sprintf("Not within %s, with the measurement's uncertainty counted in (%s): %s.", tolerance, sure, p.named(verdict.OutOfTolerance))
	}
	if open := p.named(verdict.CannotTell); open != "" {
		return fmt.Sprintf("The measurement does not tell whether every string is within %s (%s): %s.", tolerance, sure, open)
	}
	return "The measurement does not speak for this order: see the warnings."
}

// named lists the strings with a verdict.
func (p page) named(d verdict.Decision) string {
	var names []string
	for _, s := range p.Verdict.Strings {
		if s.Verdict == d {
			names = append(names, "string "+name(s.Number, s.Note))
		}
	}
	return strings.Join(names, ", ")
}

// Class is the verdict for the style sheet.
func (p page) Class() string {
	return map[verdict.Decision]string{verdict.Conforms: "pass", verdict.OutOfTolerance: "fail"}[p.Verdict.Verdict]
}

// Remedied are the strings that something can be done about.
func (p page) Remedied() []verdict.String {
	var out []verdict.String
	for _, s := range p.Verdict.Strings {
		if s.Remedy != "" {
			out = append(out, s)
		}
	}
	return out
}
