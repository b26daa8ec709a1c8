package report

import (
	"bytes"
	"io"
	"regexp"
	"strings"
	"testing"

	"evenpole/profiles"
	"evenpole/report/pdf"
)

// ordered are papers of a pickup whose order and shop say all that they can.
func ordered() Papers {
	c := certificate(0.42, -0.31, 0.12, -0.65, 0.22, 0.2)
	c.Shop, c.Address, c.Units, c.Changed = "The Bench by the Weir", "Weir Lane 3", profiles.Inches, []string{"measured again"}
	o := c.Order
	o.Customer, o.Instrument, o.Product, o.Serial, o.Operator = "Ἀθηνᾶ Иванова", "six-string no. 3", "Gale bridge", "G-0017", "Bo"
	c.Verdict.Certificate, c.Verdict.Supersedes = 12, 9
	c.Predicted = []float64{0.3, -0.2, 0.2, -0.5, 0.1, 0.1}
	return c
}

// The customer's certificate says who, what and how even, in the order's units, and
// nothing of how it was found.
func TestCertificateIsForTheCustomer(t *testing.T) {
	page := draw(t, func(w io.Writer) error { return WriteCertificate(w, ordered()) })
	shown := regexp.MustCompile(`(?s)<style>.*?</style>|<[^>]*>`).ReplaceAllString(strings.ReplaceAll(page, pdf.NoBreak, " "), " ")
	for _, want := range []string{
		"The Bench by the Weir", "Weir Lane 3", "no. 12", "Ἀθηνᾶ Иванова", "six-string no. 3", "Gale bridge", "G-0017", "radius 9.449 in",
		"certificate no. 9, which no longer holds; changed: measured again", "For the maker", "Cautions", "E4 .010",
	} {
		if !strings.Contains(shown, want) {
			t.Errorf("no %q in %s", want, shown)
		}
	}
	for _, no := range []string{"model", "session", "capture", "evenpole", "predicted", "jig", "--", "file", " mm", "predicted"} {
		if strings.Contains(shown, no) {
			t.Errorf("a customer reads %q in %s", no, shown)
		}
	}
	looked := ordered()
	looked.Check = "https://example.org/12"
	if page := draw(t, func(w io.Writer) error { return WriteCertificate(w, looked) }); !strings.Contains(page, looked.Check) {
		t.Error("the address to look it up at is missing")
	}
}

// Every certificate is one page of its paper, the same bytes each time.
func TestCertificateIsOnePage(t *testing.T) {
	all := cases()
	all["ordered"] = ordered()
	for name, c := range all {
		for _, paper := range []Paper{A4, Letter} {
			var first, second bytes.Buffer
			for _, to := range []*bytes.Buffer{&first, &second} {
				if err := WriteCertificatePDF(to, c, paper); err != nil {
					t.Fatal(err)
				}
			}
			if m := pageTree.FindSubmatch(first.Bytes()); m == nil || string(m[1]) != "1" {
				t.Errorf("%s: pages: got %s, want 1", name, m)
			}
			if !bytes.Equal(first.Bytes(), second.Bytes()) {
				t.Errorf("%s: other bytes the second time", name)
			}
		}
	}
}

// The sheet is in the units of the order, too, and says who built it.
func TestSheetInInches(t *testing.T) {
	page := render(t, ordered())
	shown := regexp.MustCompile(`(?s)<style>.*?</style>|<[^>]*>`).ReplaceAllString(strings.ReplaceAll(page, pdf.NoBreak, " "), " ")
	shown = regexp.MustCompile(` in \([^()]* mm\)`).ReplaceAllString(shown, "")
	if strings.Contains(shown, " mm") || !strings.Contains(shown, "Bo") || !strings.Contains(shown, "Heights in inches") {
		t.Errorf("a sheet in inches: %s", shown)
	}
}

// So is the PDF, with all that it notes.
func TestSheetPDFInInches(t *testing.T) {
	c := ordered()
	c.Verdict.Notes = []string{"heights are set to 0.05 mm"}
	has(t, renderPDF(t, c, A4), "heights are set to 0.002 in (0.05 mm)", "Heights in inches")
}

func TestUnprintable(t *testing.T) {
	c := ordered()
	for name, want := range map[string]string{"Ἀθηνᾶ Иванова Łódź": "", "王小明 やまだ 김": "", "naïve 🎸": "🎸", "שרה": "שרה", "สมชาย": "สมชาย"} {
		c.Order.Customer = name
		got, err := Unprintable(func(w io.Writer) error { return WriteCertificate(w, c) })
		if err != nil || got != want {
			t.Errorf("%s: %q, %v, want %q", name, got, err, want)
		}
	}
}
