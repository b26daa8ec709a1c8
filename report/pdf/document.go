// Package pdf writes PDF pages to print, whose letters can be selected and look the same
// everywhere. What stands on them is for its callers to say.
//
// The way through the package:
//
//   - letters.go: the fonts, and which letters they have ([Lacking]).
//   - document.go: texts in these fonts, and the lines that they are broken into ([Document]).
//   - page.go: a page that is filled from top to bottom, with letters as large as fit ([Page],
//     [OnePage]).
package pdf

import (
	"io"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
)

// Document is a PDF document whose texts may have letters of both fonts.
type Document struct {
	*fpdf.Fpdf
	weight string // "" or "B"
	points float64
	east   bool // eastFamily is among its fonts

	lacking []rune // letters that were to be printed and that no font has
}

// Printable notes which letters of a text no font has, and returns it as a page can hold it.
func (d *Document) Printable(text string) string {
	for _, r := range lacking(text) {
		if !slices.Contains(d.lacking, r) && r != '\ufffd' {
			d.lacking = append(d.lacking, r)
		}
	}
	return printable(text)
}

// Write writes the document. A *LettersError says that it lacks letters.
func (d *Document) Write(w io.Writer) error {
	if len(d.lacking) > 0 {
		return &LettersError{string(d.lacking)}
	}
	return d.Output(w)
}

// NewDocument starts a document of pages of one size, mm. With the same date it
// is the same bytes.
func NewDocument(width, height float64, title string, date time.Time) *Document {
	if date.IsZero() {
		date = time.Unix(0, 0)
	}
	doc := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: width, Ht: height}})
	doc.SetMargins(0, 0, 0)
	doc.SetCellMargin(0)
	doc.SetAutoPageBreak(false, 0)
	doc.SetCatalogSort(true)
	doc.SetCreationDate(date.UTC())
	doc.SetModificationDate(date.UTC())
	doc.SetTitle(title, true)
	doc.SetLang("en-GB")
	doc.AddUTF8FontFromBytes(pageFamily, "", liberationsansregular.TTF)
	doc.AddUTF8FontFromBytes(pageFamily, "B", liberationsansbold.TTF)
	doc.AddPage()
	return &Document{Fpdf: doc}
}

// SetLetters chooses letters of a size.
func (d *Document) SetLetters(points float64, bold bool) {
	d.weight, d.points = "", points
	if bold {
		d.weight = "B"
	}
	d.SetFont(pageFamily, d.weight, points)
}

// wearEast goes on in eastFamily.
func (d *Document) wearEast() {
	if !d.east {
		d.east = true
		ttf, err := eastTTF()
		if err != nil {
			d.SetError(err)
			return
		}
		d.AddUTF8FontFromBytes(eastFamily, "", ttf)
	}
	d.SetFont(eastFamily, "", d.points)
}

// run is a piece of text in one font.
type run struct {
	east bool // in eastFamily; otherwise in pageFamily
	text string
}

// isEast reports whether a letter is printed in eastFamily. One that no font has is left to
// pageFamily.
func isEast(r rune) bool { return r >= firstEast && familyOf(r) == eastFamily }

// runs cuts text where the font changes.
func runs(text string) (out []run) {
	for _, r := range text {
		east := isEast(r)
		if n := len(out); n > 0 && out[n-1].east == east {
			out[n-1].text += string(r)
		} else {
			out = append(out, run{east, string(r)})
		}
	}
	return out
}

// inRun does something in the font of a run, and wears that of the page again afterwards.
func (d *Document) inRun(r run, do func(text string)) {
	if !r.east {
		do(r.text)
		return
	}
	d.wearEast()
	do(r.text)
	d.SetFont(pageFamily, d.weight, d.points)
}

// inRuns goes through text run by run in the letters chosen.
func (d *Document) inRuns(text string, do func(text string)) {
	for _, r := range runs(text) {
		d.inRun(r, do)
	}
}

// TextWidth is that of text in the letters chosen, mm.
func (d *Document) TextWidth(text string) (mm float64) {
	d.inRuns(text, func(part string) { mm += d.GetStringWidth(part) })
	return mm
}

// Put writes text from x on, its base at y, mm.
func (d *Document) Put(x, y float64, text string) {
	d.inRuns(text, func(part string) {
		d.Text(x, y, part)
		x += d.GetStringWidth(part)
	})
}

// NoBreak is a space at which no line ends.
const NoBreak = "\u00a0"

// units are signs of units that stay with their figure.
var units = []string{"mm", "in", "dB", "mV", "mT", "G", "ohm", "%", "°C"}

// tied tells whether a space stands between a figure and its unit, or beside an equals sign,
// where no line ends.
func tied(letters []rune, i int) bool {
	word := letters[i+1:]
	switch {
	case i == 0:
		return false
	case letters[i-1] == '=' || len(word) > 0 && word[0] == '=':
		return true
	case !unicode.IsDigit(letters[i-1]):
		return false
	}
	if end := slices.IndexFunc(word, func(r rune) bool { return !unicode.IsLetter(r) && r != '%' && r != '°' }); end >= 0 {
		word = word[:end]
	}
	return slices.Contains(units, string(word))
}

// Held is a text in which every figure and its unit stay on one line, for pages that others
// break into lines.
func Held(text string) string {
	letters := []rune(text)
	out := slices.Clone(letters)
	for i, r := range letters {
		if r == ' ' && tied(letters, i) {
			out[i] = []rune(NoBreak)[0]
		}
	}
	return string(out)
}

// noLineBegins are signs that no line begins with.
const noLineBegins = "、。，．・：；？！」』）】〕》〉々ー"

// lines breaks text into lines of a width in mm, in the letters chosen: at spaces, beside
// letters of eastFamily, and within a word that is longer than a line.
func (d *Document) lines(text string, width float64) (out []string) {
	_, size := d.GetFontSize()
	most := int(math.Ceil(width * 1000 / size))
	letters := []rune(text)
	begin, sum := 0, 0            // of the line
	end, next := -1, 0            // where it may end, and the next begin
	east, wasEast := false, false // this letter, and the one before it
	for i := 0; i < len(letters); {
		east, wasEast = isEast(letters[i]), east
		d.inRun(run{east, string(letters[i])}, func(letter string) { sum += d.GetStringSymbolWidth(letter) })
		switch {
		case unicode.IsSpace(letters[i]) && string(letters[i]) != NoBreak && !tied(letters, i):
			end, next = i, i+1
		case i > begin && (east || wasEast) && !strings.ContainsRune(noLineBegins, letters[i]):
			end, next = i, i
		}
		if sum <= most {
			i++
			continue
		}
		if end == -1 {
			i = max(i, begin+1)
			end, next = i, i
		}
		out = append(out, strings.TrimRight(string(letters[begin:end]), " "))
		begin, i, sum, end, east = next, next, 0, -1, false
	}
	if begin < len(letters) {
		out = append(out, string(letters[begin:]))
	}
	return out
}
