// Package sheet reads a person's spreadsheet, saved as CSV with any separator, decimal
// sign, headers and units, as rows of a file of the record.
//
// [Check], in text.go, refuses what is no text, and [Read], in contents.go, makes of a file
// [Contents] that can be read again. [Open] reads the header and finds out which column of the record each one stands
// for; [Sheet.Next] then gives row after row, with each cell in the unit and the
// writing of the record as far as it can be understood. Whether the cells
// are right is for the table of the record's columns to say, but that no length may be
// one that no mount has: [OutsideLimits], in limits.go. list.go reads small lists that
// people keep beside the record ([ReadList]).
package sheet

import (
	"bufio"
	"bytes"
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenpole/capture/record/table"
)

// A Sheet is a spreadsheet that is read row by row.
type Sheet struct {
	Columns   []Column // one for each header
	Separator string   // of cells
	Decimal   string   // the decimal sign, as soon as one was seen
	Zoneless  bool     // some time named no zone

	name   string
	csv    *csv.Reader
	layout *table.Layout
	to     []int     // which column of the layout each header stands for, -1 for none
	scale  []float64 // what the numbers under each header are multiplied by
	zone   *time.Location
}

// NoColumnError says that a header was to stand for what is no column of the record,
// nor one in another unit.
type NoColumnError struct{ Header, Column string }

// Error names both.
func (e *NoColumnError) Error() string {
	return fmt.Sprintf("column %s: expected a column of the record, or one in another unit, got %q", e.Header, e.Column)
}

// A Column is a column of a spreadsheet and what it was taken for.
type Column struct {
	Header string `json:"header"`
	Column string `json:"column"` // of the record; "" when it was left out
	Unit   string `json:"unit"`   // that of the file, when it is another
}

// otherUnits are what a column that ends in a unit may be in instead: the
// ending, and what its numbers are multiplied by. An inch is 25.4 mm and a gauss
// 0.1 mT, by definition; a thou is a thousandth of an inch.
var otherUnits = map[string]map[string]float64{
	"_mm": {"_in": 25.4, "_thou": 0.0254},
	"_mv": {"_uv": 0.001, "_v": 1000},
	"_mt": {"_ut": 0.001, "_t": 1000, "_g": 0.1},
}

// A Unit is one that the numbers of a column may be in.
type Unit struct {
	Name   string  // "in"
	Column string  // what a header in this unit stands for: "core_in"
	Size   float64 // in the record's own unit
}

// Units are those that the numbers of a column of the record may be in, the record's
// own first.
func Units(column string) []Unit {
	i := strings.LastIndex(column, "_") + 1
	all := []Unit{{column[i:], column, 1}}
	others := otherUnits[column[max(i-1, 0):]]
	for _, end := range slices.Sorted(maps.Keys(others)) {
		all = append(all, Unit{end[1:], column[:i-1] + end, others[end]})
	}
	return all
}

// Open reads the header of a file that [Check] let pass, and finds out what is in which
// column: named says so of some headers. zone is that of times that name none; name stands for the file in errors.
//
// Errors: a *table.RowError when the header cannot be understood; a *NoColumnError.
func Open(r io.Reader, name string, named map[string]string, zone *time.Location, l *table.Layout) (*Sheet, error) {
	b := bufio.NewReaderSize(r, table.MaxRow)
	start, _ := b.Peek(table.MaxRow) // an error comes again with the rows
	s := &Sheet{name: name, layout: l, zone: zone}
	s.csv, _ = table.NewCSV(b)
	s.csv.Comma = separator(start)
	s.Separator = string(s.csv.Comma)
	header, line, err := table.Header(s.csv, name)
	if err != nil {
		return nil, err
	}
	used := map[string]bool{}
	for _, h := range table.Trimmed(header) {
		c, scale := understand(h, named, l)
		if to, ok := named[h]; ok && c.Column == "" {
			return nil, &NoColumnError{h, to}
		}
		if c.Column != "" && used[c.Column] {
			return nil, table.Errorf(name, line, h, "expected one column for %s, got two", c.Column)
		}
		used[c.Column] = true
		to, ok := l.Index(c.Column)
		if !ok {
			to = -1
		}
		s.Columns, s.to, s.scale = append(s.Columns, c), append(s.to, to), append(s.scale, scale)
	}
	for _, h := range slices.Sorted(maps.Keys(named)) {
		if !slices.Contains(table.Trimmed(header), h) {
			return nil, table.Errorf(name, line, h, "expected in the header, got %q", strings.Join(header, s.Separator))
		}
	}
	return s, nil
}

// Lacks returns the columns of the record that the file does not have and that are not
// set for every row, and refuses it when a reading needs one of them.
func (s *Sheet) Lacks(set map[string]string) (absent []string, err error) {
	absent = []string{}
	var missing, headers []string
	for _, c := range s.Columns {
		headers = append(headers, c.Header)
	}
	for _, name := range s.layout.Names {
		has := slices.ContainsFunc(s.Columns, func(c Column) bool { return c.Column == name })
		if _, isSet := set[name]; has || isSet {
			continue
		}
		absent = append(absent, name)
		if slices.Contains(s.layout.Needed, name) {
			missing = append(missing, name)
		}
	}
	if len(missing) > 0 {
		return nil, table.Errorf(s.name, 1, strings.Join(missing, ", "), "expected in the header, got %q", headers)
	}
	return absent, nil
}

// understand finds out which column of the record a header stands for.
func understand(header string, named map[string]string, l *table.Layout) (c Column, scale float64) {
	c.Header = header
	name := plainColumn(header)
	if to, ok := named[header]; ok {
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
	return c, 1
}

// plainColumn turns "String height (mm)" into string_height_mm.
func plainColumn(header string) string {
	words := strings.FieldsFunc(strings.ToLower(strings.NewReplacer("µ", "u", "μ", "u").Replace(header)), func(r rune) bool {
		return (r < 'a' || r > 'z') && (r < '0' || r > '9')
	})
	return strings.Join(words, "_")
}

// separator returns what stands most often in the header outside quotes.
func separator(text []byte) rune {
	header, _, _ := bytes.Cut(text, []byte("\n"))
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

// A Row is one row: the text of each column of the record as the record would have
// it.
type Row struct {
	Cells table.Row
	Bad   *table.RowError // the first cell that could not be understood

	file  string
	line  int
	lines map[string]int    // on which a column's cell starts
	texts map[string]string // of columns: what the file has
}

// Text is what the file has in a column of the record, in its own unit and writing.
func (r *Row) Text(column string) string { return r.texts[column] }

// Place is the [table.Place] of the cells of the row.
func (r *Row) Place(column string) (file string, line int) {
	return r.file, cmp.Or(r.lines[column], r.line)
}

// ByHeader names a cell by its header, as the person knows it.
func ByHeader(columns []Column, e *table.RowError) *table.RowError {
	for _, c := range columns {
		if c.Column == e.Column && c.Column != "" {
			return table.Errorf(e.File, e.Line, c.Header, "%s", e.Msg)
		}
	}
	return e
}

// Next reads the next row that has anything in it. At the end the error is io.EOF.
func (s *Sheet) Next() (*Row, error) {
	row := &Row{file: s.name, Cells: make(table.Row, len(s.layout.Names)), lines: map[string]int{}, texts: map[string]string{}}
	cells, err := s.csv.Read()
	for err == nil && strings.TrimSpace(strings.Join(cells, "")) == "" {
		cells, err = s.csv.Read()
	}
	if err == io.EOF {
		return nil, err
	}
	if err != nil {
		err = table.Explain(err, s.name, len(s.Columns))
		if errors.As(err, &row.Bad) {
			row.line = row.Bad.Line
			return row, nil
		}
		return nil, err
	}
	for i, text := range cells {
		s.cell(row, i, strings.TrimSpace(table.Plain(text)))
	}
	row.line, _ = s.csv.FieldPos(0)
	return row, nil
}

// cell takes one cell over.
func (s *Sheet) cell(row *Row, i int, text string) {
	c := s.Columns[i]
	if c.Column == "" || text == "" {
		return
	}
	line, _ := s.csv.FieldPos(i)
	row.lines[c.Column], row.texts[c.Column] = line, text
	want := ""
	switch {
	case c.Column == "time":
		text = s.stamp(text)
	case s.layout.Number[s.to[i]]:
		text, want = s.number(text, s.scale[i])
	}
	if want != "" && row.Bad == nil {
		row.Bad = table.Errorf(s.name, line, c.Header, "expected %s, got %q", want, text)
	}
	row.Cells[s.to[i]] = text
}

// number brings a number into the record's unit and decimal sign. What is no
// number stays as it is; want says what was expected of one that is ambiguous.
func (s *Sheet) number(text string, scale float64) (number, want string) {
	sign := strings.Trim(text, "+-0123456789eE")
	if sign == "," && s.csv.Comma != ',' || sign == "." {
		if s.Decimal == "" {
			s.Decimal = sign
		}
		if s.Decimal != sign {
			return text, fmt.Sprintf("decimals after %q as in the rows above", s.Decimal)
		}
		text = strings.Replace(text, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || scale == 1 {
		return text, ""
	}
	return strconv.FormatFloat(v*scale, 'f', -1, 64), ""
}

// stamp turns a time without a zone into one with it. What is no such time
// stays as it is.
func (s *Sheet) stamp(text string) string {
	for _, layout := range []string{"2006-01-02 15:04:05", "2006-01-02T15:04:05", "2006-01-02 15:04", "2006-01-02T15:04", "2006-01-02"} {
		if t, err := time.ParseInLocation(layout, text, s.zone); err == nil {
			s.Zoneless = true
			return t.UTC().Format(time.RFC3339Nano)
		}
	}
	return text
}
