package report

import (
	"cmp"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"

	"evenpole/fit/plan"
	"evenpole/fit/verdict"
	"evenpole/profiles"
	"evenpole/report/pdf"
)

// The certificate is for the customer: it names who made the pickup, for whom and for what,
// and how even it is. What it takes to build or to measure one is on the workshop's sheet.

//go:embed certificate.html
var certificateHTML string

var certificateTemplate = template.Must(template.New("certificate").Funcs(template.FuncMap{"css": css}).Parse(certificateHTML))

const certificateHeading = "Certificate of balance"

// diploma is what the customer's template sees.
type diploma struct {
	Papers
	Balance, Code template.HTML
}

// WriteCertificate writes the customer's certificate as one page of HTML that prints on A4
// or Letter. The same papers give the same bytes.
func WriteCertificate(w io.Writer, c Papers) error {
	if err := c.check(); err != nil {
		return err
	}
	d := &diploma{Papers: c}
	var err error
	if d.Balance, err = inline(func(w io.Writer) error { return Balance(w, d.chart()) }); err != nil {
		return err
	}
	if d.Code, err = codeSVG(d.CodeText()); err != nil {
		return err
	}
	return fill(w, certificateTemplate, d)
}

// Heading is the title.
func (d *diploma) Heading() string { return certificateHeading }

// Number says which certificate it is; "" where it has no number.
func (d *diploma) Number() string { return strings.TrimSpace(d.numbered("")) }

// chart is the balance without what a model says of it.
func (d *diploma) chart() BalanceChart {
	c := d.balance()
	c.Title, c.Predicted = "Balance of the strings", nil
	return c
}

// Facts are who it is for and what it is.
func (d *diploma) Facts() [][2]string {
	o := d.Order
	all := [][2]string{
		{"Made for", o.Customer}, {"Instrument", o.Instrument}, {"Pickup", joined(o.Product, d.Verdict.Pickup)}, {"Serial number", o.Serial},
		{"Order", d.Verdict.Order}, {"Measured", d.Day()}, {"Strings", d.strung()}, {"Fretboard", d.fretboard()}, {"Takes the place of", d.supersedes()},
	}
	var there [][2]string
	for _, f := range all {
		if f[1] != "" {
			there = append(there, f)
		}
	}
	return there
}

// Day is the day of the measurement.
func (d *diploma) Day() string {
	if d.Verdict.Time.IsZero() {
		return ""
	}
	return d.Verdict.Time.UTC().Format("2 January 2006")
}

// strung names the strings that the pickup is meant for.
func (d *diploma) strung() string {
	var gauges []string
	for i, s := range d.Order.Strings {
		what := diameter(d.Units, s.Gauge)
		if d.Units == profiles.Inches {
			what = strings.TrimPrefix(d.Units.Figure(s.Gauge), "0")
		}
		gauges = append(gauges, strings.TrimSpace(cmp.Or(s.Note, fmt.Sprint(i+1))+pdf.NoBreak+what))
	}
	text := strings.Join(gauges, ", ") + " " + d.Units.Name()
	if d.Order.Set != "" {
		text = d.Order.Set + " (" + text + ")"
	}
	return text
}

// fretboard is the radius that the pickup is meant for, in the order's units alone.
func (d *diploma) fretboard() string {
	if d.Order.MeasuredHeights != nil {
		return "as measured"
	}
	mm := d.Order.FretboardRadius
	switch {
	case mm == 0:
		return "flat"
	case d.Units == profiles.Inches:
		return fmt.Sprintf("radius %.4g in", mm/25.4)
	}
	return fmt.Sprintf("radius %.4g mm", mm)
}

// Word is the verdict in a word or three.
func (d *diploma) Word() string { return strings.ToUpper(string(d.Verdict.Verdict)) }

// Sentence is the verdict for someone who has not measured.
func (d *diploma) Sentence() string {
	within := fmt.Sprintf("within ±%g dB of what was agreed", d.Verdict.Tolerance)
	switch d.Verdict.Verdict {
	case verdict.Conforms:
		return fmt.Sprintf("Every string is as loud beside the others as it should be: %s, with the uncertainty of the measurement counted in.", within)
	case verdict.OutOfTolerance:
		if out := d.named(verdict.OutOfTolerance); out != "" {
			return fmt.Sprintf("Not every string is %s: %s.", within, out)
		}
		return "Its balance alone does not fail it, but something else that was checked does."
	}
	return fmt.Sprintf("It cannot be told yet whether every string is %s.", within)
}

// Caption stands over the chart.
func (d *diploma) Caption() string {
	return fmt.Sprintf("How loud each string is beside the mean of all, in decibels, with its uncertainty; the band is the tolerance, ±%g dB", d.Verdict.Tolerance)
}

// Cautions are those for who fits the pickup.
func (d *diploma) Cautions() []string { return plan.CautionsOf(d.Order) }

// CodeText is what the QR code holds: where the certificate can be looked up, or what it
// says.
func (d *diploma) CodeText() string {
	if d.Check != "" {
		return d.Check
	}
	o, v := d.Order, d.Verdict
	return joined(d.numbered(certificateHeading), d.Shop, o.Product, "pickup "+v.Pickup, prefixed("serial number ", o.Serial), "order "+v.Order, d.Day(), string(v.Verdict))
}

// prefixed puts a word before a text that is there.
func prefixed(word, text string) string {
	if text == "" {
		return ""
	}
	return word + text
}
