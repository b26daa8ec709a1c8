// Package report draws pictures and writes documents: the pole picture, the
// balance chart and the certificate. It draws what it is given and computes
// nothing of its own.
//
// Pictures are SVG 1.1, documents are HTML with all that they show inside:
// no scripts, no links, nothing to fetch. Both read well in black and white, name
// themselves for those who listen rather than look, and are the same bytes for
// the same input.
package report

import (
	"fmt"
	"strconv"
	"strings"

	"evenpole/fit/level"
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
