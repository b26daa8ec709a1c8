package pdf

import (
	"bytes"
	"compress/gzip"
	_ "embed"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"unicode"

	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"golang.org/x/image/font/sfnt"
)

// The fonts of PDF pages: pageFamily has Latin, Greek and Cyrillic letters, in bold as
// well; eastFamily has Chinese characters, kana and hangul, and looks the same in bold.
const (
	pageFamily = "sans"
	eastFamily = "east"
)

//go:embed fonts/DroidSansFallback.ttf.gz
var eastPacked []byte

// eastTTF is the font file of eastFamily, which is unpacked when a letter first asks for it.
var eastTTF = sync.OnceValues(func() ([]byte, error) {
	r, err := gzip.NewReader(bytes.NewReader(eastPacked))
	if err != nil {
		return nil, err
	}
	return io.ReadAll(r)
})

var (
	pageGlyphs = sync.OnceValues(func() (*sfnt.Font, error) { return sfnt.Parse(liberationsansregular.TTF) })
	eastGlyphs = sync.OnceValues(func() (*sfnt.Font, error) {
		ttf, err := eastTTF()
		if err != nil {
			return nil, err
		}
		return sfnt.Parse(ttf)
	})
)

// hasGlyph reports whether a font has a letter.
func hasGlyph(font func() (*sfnt.Font, error), r rune) bool {
	f, err := font()
	if err != nil {
		return false
	}
	var buffer sfnt.Buffer
	glyph, err := f.GlyphIndex(&buffer, r)
	return err == nil && glyph != 0
}

// firstEast is the first letter that is looked for in eastFamily: those before it, radicals
// of Chinese characters, are of other scripts.
const firstEast = 0x2e80

// familyOf is the font that a letter is printed in; "" where none has it. Scripts that run
// from right to left, which pages do not set, have none.
func familyOf(r rune) string {
	switch {
	case unicode.In(r, unicode.Hebrew, unicode.Arabic, unicode.Syriac, unicode.Thaana, unicode.Nko):
		return ""
	case r < 0x80, hasGlyph(pageGlyphs, r):
		return pageFamily
	case r >= firstEast && hasGlyph(eastGlyphs, r):
		return eastFamily
	}
	return ""
}

// Lacking lists the letters of a text that PDF pages have not: theirs are Latin, Greek,
// Cyrillic, Chinese, Japanese and Korean. The error is that of a font.
func Lacking(text string) (letters string, err error) {
	if _, err := pageGlyphs(); err != nil {
		return "", err
	}
	if _, err := eastGlyphs(); err != nil {
		return "", err
	}
	return string(lacking(text)), nil
}

// LettersError says which letters of a document PDF pages have not. Nothing was written.
type LettersError struct{ Letters string }

// Error names the letters, and those that there are.
func (e *LettersError) Error() string {
	return fmt.Sprintf("PDF pages have no letters for %q (theirs are Latin, Greek, Cyrillic, Chinese, Japanese and Korean)", e.Letters)
}

// lacking are the letters of a text that PDF pages have not.
func lacking(text string) (letters []rune) {
	for _, r := range text {
		if r >= 0x80 && familyOf(r) == "" && !slices.Contains(letters, r) {
			letters = append(letters, r)
		}
	}
	return letters
}

// printable replaces what a PDF page cannot hold, and control characters, by U+FFFD.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r >= 0xfffe {
			return '\ufffd'
		}
		return r
	}, text)
}
