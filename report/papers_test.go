package report

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"regexp"
	"strings"
	"testing"

	"evenpole/fit/verdict"
)

func renderPDF(t *testing.T, c Papers, p Paper) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WriteSheetPDF(&b, c, p); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

var (
	pageTree = regexp.MustCompile(`/Type /Pages\s[^>]*?/Count (\d+)`)
	mediaBox = regexp.MustCompile(`/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]`)
	streams  = regexp.MustCompile(`(?s)stream\r?\n(.*?)\r?\nendstream`)
)

// Every certificate is one page of its paper, the same bytes each time, with the
// fonts inside and without a link.
func TestCertificatePDF(t *testing.T) {
	for name, c := range cases() {
		for _, paper := range []Paper{A4, Letter} {
			text := renderPDF(t, c, paper)
			if !bytes.Equal(text, renderPDF(t, c, paper)) {
				t.Errorf("%s: other bytes the second time", name)
			}
			if m := pageTree.FindSubmatch(text); m == nil || string(m[1]) != "1" {
				t.Errorf("%s: pages: got %s, want 1", name, m)
			}
			if m, want := mediaBox.FindSubmatch(text), fmt.Sprintf("%.2f %.2f", paper.Width*72/25.4, paper.Height*72/25.4); m == nil || string(m[1])+" "+string(m[2]) != want {
				t.Errorf("%s: page: got %s, want %s", name, m, want)
			}
			if n := bytes.Count(text, []byte("/FontFile2")); n != 2 {
				t.Errorf("%s: embedded fonts: got %d, want 2", name, n)
			}
			if bytes.Contains(text, []byte("/URI")) || bytes.Contains(text, []byte("/JavaScript")) {
				t.Errorf("%s: a link or a script", name)
			}
		}
	}
}

// has looks for texts in the pages of a PDF, whose letters are numbered as Unicode
// is.
func has(t *testing.T, pdf []byte, texts ...string) {
	t.Helper()
	pages := ""
	for _, s := range streams.FindAllSubmatch(pdf, -1) {
		if r, err := zlib.NewReader(bytes.NewReader(s[1])); err == nil {
			text, _ := io.ReadAll(r) // of a font it is cut short
			pages += string(text)
		}
	}
	for _, want := range texts {
		var wide strings.Builder
		for _, r := range want {
			for _, b := range []byte{byte(r >> 8), byte(r)} {
				if strings.ContainsRune(`()\`, rune(b)) {
					wide.WriteByte('\\')
				}
				wide.WriteByte(b)
			}
		}
		if !strings.Contains(pages, wide.String()) {
			t.Errorf("lacks %q", want)
		}
	}
}

// The text is there as text, and the date is the measurement's.
func TestCertificatePDFSays(t *testing.T) {
	c := cases()["six"]
	c.Folder, c.Verdict.First = "bench", "jig-7/0000000A/12"
	c.Verdict.Resistance = &verdict.Resistance{Ohm: 6420, Celsius: 27, At20: 6248, Target: 6200, Off: 0.8, Tolerance: 5}
	dated := renderPDF(t, c, A4)
	has(t, dated, "CONFORMS", "The Bench by the Weir", "T-004", "resistance 6420 ohm at 27.0 °C", "fretboard radius 240 mm",
		"evenpole:check?shop=bench&pickup=T-004&session=s012&first=jig-7/0000000A/12", "Poles as built")
	if want := "/CreationDate (D:20260302093000"; !bytes.Contains(dated, []byte(want)) {
		t.Errorf("lacks %s", want)
	}
}

// Both coils' poles are on the workshop's sheet, in the table and in the picture.
func TestSheetOfTwoCoils(t *testing.T) {
	c := cases()["two coils"]
	page := render(t, c)
	for _, want := range []string{"<th scope=\"col\">pole 2<br>mm</th>", "<td>1.11</td>", "narrow: coil 2"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	has(t, renderPDF(t, c, A4), "pole 2", "gap 2", "1.11", "1.61", "narrow: coil 2")
	if page := render(t, cases()["six"]); strings.Contains(page, "pole 2") {
		t.Error("the page on a pickup with one coil has a second")
	}
}

// The page on a batch is a page of its paper, too, and says what the HTML does.
func TestBatchPDF(t *testing.T) {
	for name, p := range batchCases() {
		var first, second bytes.Buffer
		for _, b := range []*bytes.Buffer{&first, &second} {
			if err := WriteBatchPDF(b, p, Letter); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
		if !bytes.Equal(first.Bytes(), second.Bytes()) {
			t.Errorf("%s: other bytes the second time", name)
		}
		if m := pageTree.FindSubmatch(first.Bytes()); m == nil || string(m[1]) != "1" {
			t.Errorf("%s: pages: got %s, want 1", name, m)
		}
	}
	var b bytes.Buffer
	if err := WriteBatchPDF(&b, batchCases()["odd"], A4); err != nil {
		t.Fatal(err)
	}
	has(t, b.Bytes(), "MEASURE MORE", "Measure 13 more magnets at most", "squall/05 (232.0 mT)", "mean 257.3 mT", "Left over: squall/06", "6.0 to +10.0 %", "240.0 to 280.0 mT is wanted")
	if err := WriteBatchPDF(io.Discard, BatchPage{}, A4); err == nil {
		t.Error("a page on nothing is no error")
	}
}

func TestPapers(t *testing.T) {
	for name, want := range map[string]Paper{"a4": A4, "Letter": Letter} {
		if got, err := ParsePaper(name); err != nil || got != want {
			t.Errorf("%s: got %v, %v", name, got, err)
		}
	}
	if _, err := ParsePaper("a5"); err == nil || !strings.Contains(err.Error(), `expected a4 or letter, got "a5"`) {
		t.Errorf("got %v", err)
	}
	short := cases()["six"]
	short.Predicted = []float64{1}
	for _, c := range []Papers{{}, short} {
		if err := WriteSheetPDF(io.Discard, c, A4); err == nil {
			t.Error("what cannot be a certificate is one")
		}
	}
	if err := WriteSheetPDF(full{}, cases()["six"], A4); err == nil {
		t.Error("a PDF that could not be written is no error")
	}
}
