package sheet

import (
	"bytes"
	"encoding/csv"
	"slices"
	"strings"

	"evenpole/capture/record/table"
)

// A Column is a column of a spreadsheet and what it was taken for.
type Column struct {
	Header string `json:"header"`
	Column string `json:"column"` // of the record; "" when it was left out
	Unit   string `json:"unit"`   // that of the file, when it is another

	perCell bool // the header has no unit: each cell names its own
}

// understand finds out which column of the record a header stands for.
func understand(header string, named map[string]string, l *table.Layout) (c Column, scale float64) {
	c.Header = header
	name := plainColumn(header)
	to, isNamed := named[header]
	if isNamed {
		name = to
	}
	if _, ok := l.Index(name); ok {
		c.Column = name
		return c, 1
	}
	for unit, others := range otherUnits {
		for other, scale := range others {
			stem, ok := strings.CutSuffix(name, other)
			if _, known := l.Index(stem + unit); ok && known {
				c.Column, c.Unit = stem+unit, other[1:]
				return c, scale
			}
		}
	}
	for unit := range otherUnits {
		if !isNamed && slices.Contains(l.Needed, name+unit) {
			c.Column, c.perCell = name+unit, true
		}
	}
	return c, 1
}

// plainColumn turns "String height (mm)" into string_height_mm, and "Field in gauss" into
// field_g.
func plainColumn(header string) string {
	words := strings.FieldsFunc(strings.ToLower(strings.NewReplacer("µ", "u", "μ", "u").Replace(header)), func(r rune) bool {
		return (r < 'a' || r > 'z') && (r < '0' || r > '9')
	})
	if len(words) == 1 && words[0] == "date" {
		return "time"
	}
	if last := len(words) - 1; last > 0 {
		if short, ok := otherWords[words[last]]; ok {
			words[last] = short
			if last > 1 && words[last-1] == "in" {
				words = append(words[:last-1], short)
			}
		}
	}
	return strings.Join(words, "_")
}

// mostTitles is how many lines may stand over a header.
const mostTitles = 20

// findHeader finds the header of a text: the first line in which at least two columns of
// the record are named, with the separator of its cells, else the first line. titles is
// the number of lines over it.
func findHeader(text []byte, named map[string]string, l *table.Layout) (titles int, comma rune) {
	rest := text
	for n := range mostTitles {
		line, more, ok := bytes.Cut(rest, []byte("\n"))
		comma := separator(line)
		if columnsIn(line, comma, named, l) >= 2 {
			return n, comma
		}
		if rest = more; !ok {
			break
		}
	}
	first, _, _ := bytes.Cut(text, []byte("\n"))
	return 0, separator(first)
}

// columnsIn counts the cells of a line that name columns of the record.
func columnsIn(line []byte, comma rune, named map[string]string, l *table.Layout) int {
	r := csv.NewReader(bytes.NewReader(line))
	r.Comma = comma
	cells, err := r.Read()
	if err != nil {
		return 0
	}
	n := 0
	for _, h := range table.Trimmed(cells) {
		if c, _ := understand(strings.TrimPrefix(h, "\ufeff"), named, l); c.Column != "" {
			n++
		}
	}
	return n
}

// separator returns what stands most often in a header outside quotes.
func separator(header []byte) rune {
	count := map[rune]int{}
	quoted := false
	for _, r := range string(header) {
		if r == '"' {
			quoted = !quoted
		} else if !quoted {
			count[r]++
		}
	}
	best := ','
	for _, r := range ";\t" {
		if count[r] > count[best] {
			best = r
		}
	}
	return best
}
