// Package report draws pictures and writes documents: the pole picture, the
// balance chart and the certificate. It draws what it is given and computes
// nothing of its own.
//
// Pictures are SVG 1.1, documents are HTML with all that they show inside:
// no scripts, no links, nothing to fetch. Both read well in black and white, have a
// title and a description for screen readers, and are the same bytes for the same
// input.
//
// The way through the package:
//
//   - report.go: figures and names as text, and the way out of every document.
//   - svg.go, onpdf.go: what pictures are drawn on (canvas), as SVG and on pages of package
//     pdf, which has their letters and lines.
//   - poles.go, balance.go: the pole picture ([PolePicture]) and the balance chart
//     ([BalanceChart]); gauge.go: the pole picture at full size, with a gauge to cut
//     out; code.go: a QR code.
//   - explain.go: the picture of an explanation; chart.go: control charts; recording.go:
//     a recording with its plucks ([RecordingPicture]).
//   - plot.go: a picture with axes ([Plot]) and its strokes; bins.go: how many points lie
//     where, for pictures of more than mostPoints; plots.go: the pictures of a model.
//   - papers.go: paper ([Paper]), and what the papers of a finished pickup say ([Papers]); sheet.go,
//     sheet_pdf.go: the workshop's sheet as HTML and as PDF; certificate.go,
//     certificate_pdf.go: the customer's certificate likewise; batch.go, batch_pdf.go: the page on a magnet batch ([BatchPage]).
//   - plan.go: a plan as a table and as a pole picture.
package report

import (
	"bytes"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"evenpole/fit/level"
	"evenpole/profiles"
)

// known reports whether a figure is a finite number.
func known(x float64) bool { return level.Figure(x).Known() }

// unknownFigure stands where a figure is not known.
const unknownFigure = "–"

// figure writes x by a format of package fmt, with a minus sign that is as wide
// as a plus and no sign for what rounds to 0, or a dash when x is not known.
func figure(format string, x float64) string {
	if !known(x) {
		return unknownFigure
	}
	text := fmt.Sprintf(format, x)
	if strings.Trim(text, "+-0.") == "" {
		return strings.TrimLeft(text, "+-")
	}
	return strings.Replace(text, "-", "−", 1)
}

// wrapWords is the name of a wrap in words.
func wrapWords(w profiles.Wrap) string { return strings.ReplaceAll(string(w), "_", " ") }

// threeDigits writes a figure above 0 with three digits, so that figures of a column have
// their points alike where they are of one size.
func threeDigits(x float64) string {
	switch {
	case x >= 99.95:
		return figure("%.0f", x)
	case x >= 9.995:
		return figure("%.1f", x)
	}
	return figure("%.2f", x)
}

// length writes a length in mm, in units, or a dash when it is not known.
func length(u profiles.Units, mm float64) string {
	if u != profiles.Inches || !known(mm) {
		return figure("%.2f", mm)
	}
	return figure("%.3f", mm/25.4)
}

// diameter writes a string's diameter in mm, in units, or a dash when it is not known.
func diameter(u profiles.Units, mm float64) string {
	if u != profiles.Inches || !known(mm) {
		return figure("%.3f", mm)
	}
	return figure("%.4f", mm/25.4)
}

// write writes a document with U+FFFD for what it may not hold, wherever the text came
// from: control characters but ends of lines and tabs, which steer what shows it, and what
// XML has no place for.
func write(w io.Writer, text []byte) error {
	_, err := w.Write(bytes.Map(func(r rune) rune {
		if unicode.IsControl(r) && !strings.ContainsRune("\n\r\t", r) || r == '\ufffe' || r == '\uffff' {
			return utf8.RuneError
		}
		return r // bytes.Map has utf8.RuneError for what is no UTF-8
	}, text))
	return err
}

// name is how a sentence calls a string: by its number and its note.
func name(number int, note string) string {
	if note == "" {
		return strconv.Itoa(number)
	}
	return fmt.Sprintf("%d (%s)", number, note)
}

// label is how a picture calls a string, cut to about so many user units.
func label(number int, note string, width float64) string {
	const letter = 7.0 // of a picture's bold letters, about
	text := []rune(strings.TrimSpace(fmt.Sprintf("%d %s", number, note)))
	if most := max(int(width/letter), 2); len(text) > most {
		return string(text[:most-1]) + "…"
	}
	return string(text)
}

// folded breaks a text into lines of some letters at most.
func folded(s string, most int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(s) {
		if line != "" && len([]rune(line+" "+word)) > most {
			lines = append(lines, line)
			line = ""
		}
		line = strings.TrimSpace(line + " " + word)
	}
	return append(lines, line)
}
