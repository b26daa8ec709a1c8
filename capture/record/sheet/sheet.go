// Package sheet reads a person's spreadsheet, saved as CSV with any separator, decimal
// sign, headers and units, as rows of a file of the record.
//
// [Check], in text.go, refuses what is no text, and [Read], in contents.go, makes of a file
// [Contents] that can be read again. Units and what people call them are in units.go;
// header.go finds the header, under titles, and which column of the record each of its
// cells stands for. [Open], in sheet.go, begins with it; [Sheet.Next] then gives row after
// row, with each cell in the unit and the writing of the record as far as it can be
// understood. Whether the cells are right is for the table of the record's columns to say,
// but that no length may be one that no mount has: [OutsideLimits], in limits.go. list.go
// reads small lists that people keep beside the record ([ReadList]).
package sheet

import (
	"bufio"
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"regexp"
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
	Titles    int      // lines over the header

	name   string
	headed int // the header's line
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

// Open reads the header of a file that [Check] let pass, and finds out what is in which
// column: named says so of some headers. zone is that of times that name none; name stands for the file in errors.
//
// Errors: a *table.RowError when the header cannot be understood; a *NoColumnError.
func Open(r io.Reader, name string, named map[string]string, zone *time.Location, l *table.Layout) (*Sheet, error) {
	b := bufio.NewReaderSize(r, table.MaxRow)
	start, _ := b.Peek(table.MaxRow) // an error comes again with the rows
	s := &Sheet{name: name, layout: l, zone: zone}
	s.csv, _ = table.NewCSV(b)
	s.Titles, s.csv.Comma = findHeader(start, named, l)
	s.Separator = string(s.csv.Comma)
	header, line, err := s.header()
	if err != nil {
		return nil, err
	}
	s.headed = line
	used := map[string]bool{}
	for _, h := range table.Trimmed(header) {
		c, scale := understand(h, named, l)
		if c.Column == "time" && h != "time" && slices.Contains(table.Trimmed(header), "time") {
			c.Column = "" // a date beside a time
		}
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

// header reads the header, and what stands over it.
func (s *Sheet) header() (header []string, line int, err error) {
	s.csv.FieldsPerRecord = -1
	for line <= s.Titles {
		if header, line, err = table.Header(s.csv, s.name); err != nil {
			return nil, 0, err
		}
	}
	s.csv.FieldsPerRecord = len(header)
	return header, line, nil
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
		return nil, table.Errorf(s.name, s.headed, strings.Join(missing, ", "), "expected in the header, got %q", headers)
	}
	return absent, nil
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
		text, want = s.number(text, c, s.scale[i])
	}
	if want != "" && row.Bad == nil {
		row.Bad = table.Errorf(s.name, line, c.Header, "expected %s, got %q", want, text)
	}
	row.Cells[s.to[i]] = text
}

// number brings a number into the record's unit and decimal sign. One that names its
// unit is in that, whatever the header says. What is no number stays as it is; want says
// what was expected of one that is ambiguous.
func (s *Sheet) number(text string, c Column, scale float64) (number, want string) {
	digits, unit := measured(text)
	own, known := unitOf(c.Column, unit)
	switch {
	case unit != "" && !known:
		return text, ""
	case unit != "":
		scale = own
	case c.perCell:
		return text, fmt.Sprintf("a number with its unit, as the header has none (or --column '%s=%s', where that is the unit of all)", c.Header, c.Column)
	}
	if s.Decimal == "" && s.Separator == "," && !strings.HasSuffix(c.Column, "_mm") && partsThousands.MatchString(digits) {
		return text, fmt.Sprintf("%s or %s, as the comma may part thousands or decimals", strings.Replace(digits, ",", "", 1), strings.Replace(digits, ",", ".", 1))
	}
	sign := strings.Trim(digits, "+-0123456789eE")
	if sign == "," || sign == "." { // a comma that stands between commas was quoted
		if s.Decimal == "" {
			s.Decimal = sign
		}
		if s.Decimal != sign {
			return text, fmt.Sprintf("decimals after %q as in the rows above", s.Decimal)
		}
		digits = strings.Replace(digits, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(digits, 64)
	switch {
	case err != nil:
		return text, ""
	case scale == 1:
		return digits, ""
	}
	return strconv.FormatFloat(v*scale, 'f', -1, 64), ""
}

// partsThousands matches what is a number either way, whether its comma parts thousands or decimals. Of
// a length the limits of mounts tell.
var partsThousands = regexp.MustCompile(`^[+-]?[1-9][0-9]{0,2},[0-9]{3}$`)

// zoneless are the ways in which people write a time, the day first where points part it.
var zoneless = []string{
	"2006-01-02 15:04:05", "2006-01-02T15:04:05", "2006-01-02 15:04", "2006-01-02T15:04", "2006-01-02",
	"2.1.2006 15:04:05", "2.1.2006 15:04", "2.1.2006", "2.1.06 15:04:05", "2.1.06 15:04", "2.1.06",
}

// stamp turns a time without a zone into one with it. What is no such time
// stays as it is.
func (s *Sheet) stamp(text string) string {
	for _, layout := range zoneless {
		if t, err := time.ParseInLocation(layout, text, s.zone); err == nil {
			s.Zoneless = true
			return t.UTC().Format(time.RFC3339Nano)
		}
	}
	return text
}
