package report

import (
	"bytes"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"golang.org/x/image/font/sfnt"
)

// pageFont is the font of PDF pages; its bold letters are the same.
var pageFont = sync.OnceValues(func() (*sfnt.Font, error) { return sfnt.Parse(liberationsansregular.TTF) })

// IsPDF reports whether a document is asked for as a PDF, by the end of its name.
func IsPDF(path string) bool { return strings.EqualFold(filepath.Ext(path), ".pdf") }

// Unprintable lists the letters of a page that PDF pages have not: theirs are Latin, Greek
// and Cyrillic. A browser prints an HTML page with the letters that its machine has.
func Unprintable(page func(io.Writer) error) (letters string, err error) {
	font, err := pageFont()
	if err != nil {
		return "", err
	}
	var text bytes.Buffer
	if err := page(&text); err != nil {
		return "", err
	}
	var buffer sfnt.Buffer
	var lacking []rune
	for _, r := range text.String() {
		if r < 0x80 || slices.Contains(lacking, r) {
			continue
		}
		glyph, err := font.GlyphIndex(&buffer, r)
		if err != nil {
			return "", err
		}
		if glyph == 0 {
			lacking = append(lacking, r)
		}
	}
	return string(lacking), nil
}
