package report

import (
	"bytes"
	"fmt"
	"io"
	"net/url"
	"path/filepath"
	"strings"
	"time"

	"evenpole/fit/verdict"
	"evenpole/profiles"
	"evenpole/report/pdf"
)

// Paper is the size of a page, mm.
type Paper struct{ Width, Height float64 }

// The papers that documents are made for.
var (
	A4     = Paper{210, 297}
	Letter = Paper{215.9, 279.4}
)

// setup is that of a PDF on the paper.
func (p Paper) setup(title string, date time.Time) pdf.Setup {
	return pdf.Setup{Width: p.Width, Height: p.Height, Title: title, Date: date}
}

// ParsePaper reads the name of a paper: a4 or letter.
func ParsePaper(name string) (Paper, error) {
	switch strings.ToLower(name) {
	case "a4":
		return A4, nil
	case "letter":
		return Letter, nil
	}
	return Paper{}, fmt.Errorf("expected a4 or letter, got %q", name)
}

// IsPDF reports whether a document is asked for as a PDF, by the end of its name.
func IsPDF(path string) bool { return strings.EqualFold(filepath.Ext(path), ".pdf") }

// Unprintable lists the letters of a page that PDF pages have not: see [pdf.Lacking]. A browser
// prints an HTML page with the letters that its machine has.
func Unprintable(page func(io.Writer) error) (letters string, err error) {
	var text bytes.Buffer
	if err := page(&text); err != nil {
		return "", err
	}
	return pdf.Lacking(text.String())
}

// Papers are what the two papers of a finished pickup say: the certificate for the
// customer ([WriteCertificate], [WriteCertificatePDF]) and the sheet for the workshop
// ([WriteSheet], [WriteSheetPDF]).
type Papers struct {
	Verdict   *verdict.Verdict
	Order     *profiles.Order
	Shop      string         // who made the pickup; may be empty
	Address   string         // of the maker; may be empty
	Check     string         // address where the certificate can be looked up; "" when there is none
	Units     profiles.Units // of lengths
	Changed   []string       // what differs from the certificate whose place this one takes
	Folder    string         // name of the shop's folder, for the line that leads back to the record
	Predicted []float64      // dB, the plan's balance by string; nil when there is none
	Version   string         // of the program
}

// check refuses papers that cannot be laid out.
func (c *Papers) check() error {
	if c.Verdict == nil || c.Order == nil {
		return fmt.Errorf("certificate: expected a verdict and its order")
	}
	if len(c.Verdict.Strings) != len(c.Order.Strings) {
		return fmt.Errorf("certificate: expected the order's %d strings, got %d in the verdict", len(c.Order.Strings), len(c.Verdict.Strings))
	}
	if c.Predicted != nil && len(c.Predicted) != len(c.Verdict.Strings) {
		return fmt.Errorf("certificate: expected %d predictions, one a string, got %d", len(c.Verdict.Strings), len(c.Predicted))
	}
	return nil
}

// Line is a reference from a certificate to the record: the shop's folder, the
// pickup, its session, the certificate's number, and the first reading as jig/boot/seq. It
// is a URI of our own, so that names may hold anything.
func (c *Papers) Line() string {
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

// numbered is a title with the certificate's number, if it has one.
func (c *Papers) numbered(title string) string {
	if c.Verdict.Certificate == 0 {
		return title
	}
	return fmt.Sprintf("%s no. %d", title, c.Verdict.Certificate)
}

// supersedes says whose place the certificate takes, and what changed; "" for a first one.
func (c *Papers) supersedes() string {
	if c.Verdict.Supersedes == 0 {
		return ""
	}
	text := fmt.Sprintf("certificate no. %d, which no longer holds", c.Verdict.Supersedes)
	if len(c.Changed) > 0 {
		text += "; changed: " + c.Units.Text(strings.Join(c.Changed, "; "))
	}
	return text
}

// joined joins texts that are there with commas.
func joined(texts ...string) string {
	var there []string
	for _, t := range texts {
		if t != "" {
			there = append(there, t)
		}
	}
	return strings.Join(there, ", ")
}

// Measured is when the session ended, in words.
func (c *Papers) Measured() string {
	if c.Verdict.Time.IsZero() {
		return "not recorded"
	}
	return c.Verdict.Time.UTC().Format("2 January 2006, 15:04 UTC")
}

// Date is the same for a machine.
func (c *Papers) Date() string { return c.Verdict.Time.UTC().Format(time.RFC3339) }

func (c *Papers) balance() BalanceChart {
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

// named lists the strings with a verdict.
func (c *Papers) named(d verdict.Answer) string {
	var names []string
	for _, s := range c.Verdict.Strings {
		if s.Verdict == d {
			names = append(names, "string "+name(s.Number, s.Note))
		}
	}
	return strings.Join(names, ", ")
}

// Class is the verdict for the style sheet.
func (c *Papers) Class() string {
	return map[verdict.Answer]string{verdict.Conforms: "pass", verdict.OutOfTolerance: "fail"}[c.Verdict.Verdict]
}
