package page

import (
	"html"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"evenpole/profiles"
)

// A shop of inches is asked for inches from its first page on.
func TestNewFilesAreInTheShopsUnits(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "shop.toml"), []byte("units = \"in\"\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	s := servingShop(t, dir, Options{Loopback: true})
	const inches = `<option value="in" selected>in</option>`
	wants(t, get(s, "/capture"), http.StatusOK, inches)
	wants(t, get(s, "/order/write"), http.StatusOK, inches, `value="25.5"`)
	wants(t, get(s, "/order/write?as=text"), http.StatusOK, "scale_length_in = 25.5")
	wants(t, get(s, recordingAddress), http.StatusOK, "pole_heights_in")
}

// TestPagesInInches goes to every page and picture of a shop that thinks in inches, with an order in inches, and
// looks for a length in mm, or a field in mT, that stands alone.
func TestPagesInInches(t *testing.T) {
	dir := sampleShop(t, t.TempDir())
	if err := os.RemoveAll(filepath.Join(dir, "orders")); err != nil { // in mm
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "shop.toml"), []byte("units = \"in\"\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	s, _ := fullShop(t, dir, profiles.Inches)
	todo, seen, pages := []string{"/"}, map[string]bool{"/": true}, 0
	for len(todo) > 0 {
		at := todo[0]
		todo = todo[1:]
		w := get(s, at)
		kind, text := w.Header().Get("Content-Type"), w.Body.String()
		if !strings.HasPrefix(kind, "text/html") && !strings.HasPrefix(kind, "image/svg") || w.Code != http.StatusOK {
			continue
		}
		pages++
		for _, m := range linked.FindAllStringSubmatch(text, -1) {
			if to := html.UnescapeString(m[1]); !seen[to] && !strings.Contains(to, "csv=") && !strings.Contains(to, "as=pdf") {
				seen[to], todo = true, append(todo, to)
			}
		}
		if stray := alone(text); stray != "" {
			t.Errorf("%s: %q", at, stray)
		}
	}
	if pages < 40 {
		t.Errorf("saw only %d pages", pages)
	}
}

var (
	linked = regexp.MustCompile(`(?:href|src)="(/[^"]*)"`)
	style  = regexp.MustCompile(`(?s)<style.*?</style>`)
	code   = regexp.MustCompile(`(?s)<textarea.*?</textarea>`)
	tag    = regexp.MustCompile(`<[^>]*>`)

	// besides is what may be in mm or mT: behind inches, in front of gauss, or as what may be typed.
	besides = regexp.MustCompile(`in \([^()]*mm\)|mT \([^()]*G\)|“1\.2 mm”|mm +in +One with its own unit|[0-9.]+ mT +G |\bG mT\b|field mT +field G|least mT +least G +greatest mT +greatest G`)
	strays  = regexp.MustCompile(`.{0,60}\b(?:mm|mT)\b.{0,30}`)
)

// alone is a length in mm or a field in mT that a page tells, and does not tell in inches or gauss.
func alone(page string) string {
	text := tag.ReplaceAllString(code.ReplaceAllString(style.ReplaceAllString(page, ""), ""), " ")
	text = strings.Join(strings.Fields(html.UnescapeString(text)), " ")
	return strays.FindString(besides.ReplaceAllString(text, ""))
}
