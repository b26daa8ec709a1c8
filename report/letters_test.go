package report

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"evenpole/report/pdf"
)

// Names in any of the scripts that PDF pages have stand in a certificate's PDF, as text
// that can be copied out of it.
func TestNamesInPDF(t *testing.T) {
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("no pdftotext to read PDF pages with")
	}
	const greek, cyrillic, chinese, mixed = "Ἀθηνᾶ Παπαδοπούλου", "Ольга Иванова", "王小明", "Łódź 山田 太郎 & 김민지"
	for _, name := range []string{greek, cyrillic, chinese, mixed} {
		c := ordered()
		c.Order.Customer = name
		var page bytes.Buffer
		if err := WriteCertificatePDF(&page, c, A4); err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(t.TempDir(), "page.pdf")
		if err := os.WriteFile(file, page.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		text, err := exec.Command(tool, file, "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		if squeezed := strings.Join(strings.Fields(string(text)), ""); !strings.Contains(squeezed, strings.ReplaceAll(name, " ", "")) {
			t.Errorf("%s is not in the page: %s", name, text)
		}
	}
}

// A page in PDF that would have boxes in place of letters is refused, and says which.
func TestNoBoxes(t *testing.T) {
	page := batchPage(100, 110, 120)
	page.Batch = "สมชาย 王 🎸"
	var out bytes.Buffer
	err := WriteBatchPDF(&out, page, A4)
	if lacking := (*pdf.LettersError)(nil); !errors.As(err, &lacking) || lacking.Letters != "สมชาย🎸" || out.Len() > 0 {
		t.Errorf("got %v, %d bytes", err, out.Len())
	}
	if err := WriteBatch(&out, page); err != nil {
		t.Errorf("as HTML: %v", err)
	}
}
