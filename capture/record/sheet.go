package record

import (
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
	"unicode/utf8"

	"evenpole/capture/record/table"
)

// A sheet is a person's spreadsheet as CSV, read row by row.
type sheet struct {
	name    string
	csv     *csv.Reader
	layout  *table.Layout
	columns []ImportColumn // one for each header
	to      []int          // which column of the layout each header stands for, -1 for none
	scale   []float64      // what the numbers under each header are multiplied by
	decimal string         // the decimal sign, as soon as one was seen
	zone    *time.Location
	zoned   bool // some time named no zone
}

// otherUnits are what a column that ends in a unit may be in instead: the
// ending, and what its numbers are multiplied by. An inch is 25.4 mm and a gauss
// 0.1 mT, by definition.
var otherUnits = map[string]map[string]float64{
	"_mm": {"_in": 25.4},
	"_mv": {"_uv": 0.001, "_v": 1000},
	"_mt": {"_ut": 0.001, "_t": 1000, "_g": 0.1},
}

// openSheet reads the header and finds out what is in which column.
func openSheet(text []byte, name string, named map[string]string, l *table.Layout) (*sheet, error) {
	if err := checkText(text, name); err != nil {
		return nil, err
	}
	s := &sheet{name: name, layout: l}
	s.csv, _ = table.NewCSV(bytes.NewReader(text))
	s.csv.Comma = separator(text)
	header, line, err := table.Header(s.csv, name)
	if err != nil {
		return nil, err
	}
	used := map[string]bool{}
	for _, h := range table.Trimmed(header) {
		c, scale := understand(h, named, l)
		if to, ok := named[h]; ok && c.Column == "" {
			return nil, refused("column %s: expected a column of the record, or one in another unit, got %q", h, to)
		}
		if c.Column != "" && used[c.Column] {
			return nil, table.Errorf(name, line, h, "expected one column for %s, got two", c.Column)
		}
		used[c.Column] = true
		to, ok := l.Index(c.Column)
		if !ok {
			to = -1
		}
		s.columns, s.to, s.scale = append(s.columns, c), append(s.to, to), append(s.scale, scale)
	}
	for _, h := range slices.Sorted(maps.Keys(named)) {
		if !slices.Contains(table.Trimmed(header), h) {
			return nil, table.Errorf(name, line, h, "expected in the header, got %q", strings.Join(header, string(s.csv.Comma)))
		}
	}
	return s, nil
}

// understand finds out which column of the record a header stands for.
func understand(header string, named map[string]string, l *table.Layout) (c ImportColumn, scale float64) {
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

// checkText refuses what is no text, or text in another encoding than UTF-8.
func checkText(text []byte, name string) error {
	is := ""
	switch {
	case bytes.HasPrefix(text, []byte("PK\x03\x04")), bytes.HasPrefix(text, []byte("\xd0\xcf\x11\xe0")):
		is = "a spreadsheet program's own format"
	case bytes.HasPrefix(text, []byte("\xff\xfe")), bytes.HasPrefix(text, []byte("\xfe\xff")):
		is = "UTF-16"
	}
	if is != "" {
		return table.Errorf(name, 1, "", "expected CSV in UTF-8, got %s: save it as CSV (UTF-8)", is)
	}
	for i, line := range bytes.Split(text, []byte("\n")) {
		if !utf8.Valid(line) || bytes.IndexByte(line, 0) >= 0 {
			return table.Errorf(name, i+1, "", "expected text in UTF-8, got %q: save it as CSV (UTF-8)", line[:min(len(line), 40)])
		}
	}
	return nil
}

// A sheetRow is one row: the text of each column of the record as the record
// would have it.
type sheetRow struct {
	cells table.Row
	bad   *RowError // the first cell that could not be understood
	line  int
	lines map[string]int // on which a column's cell starts
}

// place is a [table.Place] of the cells of a row of a file.
func (r *sheetRow) place(file, column string) (string, int) {
	return file, cmp.Or(r.lines[column], r.line)
}

// next reads the next row that has anything in it.
func (s *sheet) next() (*sheetRow, error) {
	row := &sheetRow{cells: make(table.Row, len(s.layout.Names)), lines: map[string]int{}}
	cells, err := s.csv.Read()
	for err == nil && strings.TrimSpace(strings.Join(cells, "")) == "" {
		cells, err = s.csv.Read()
	}
	if err == io.EOF {
		return nil, err
	}
	if err != nil {
		err = table.Explain(err, s.name, len(s.columns))
		if errors.As(err, &row.bad) {
			row.line = row.bad.Line
			return row, nil
		}
		return nil, err
	}
	for i, text := range cells {
		s.cell(row, i, strings.TrimSpace(text))
	}
	row.line, _ = s.csv.FieldPos(0)
	return row, nil
}

// cell takes one cell over.
func (s *sheet) cell(row *sheetRow, i int, text string) {
	c := s.columns[i]
	if c.Column == "" || text == "" {
		return
	}
	line, _ := s.csv.FieldPos(i)
	row.lines[c.Column] = line
	want := ""
	switch {
	case c.Column == "time":
		text = s.stamp(text)
	case s.layout.Number[s.to[i]]:
		text, want = s.number(text, s.scale[i])
	}
	if want != "" && row.bad == nil {
		row.bad = table.Errorf(s.name, line, c.Header, "expected %s, got %q", want, text)
	}
	row.cells[s.to[i]] = text
}

// number brings a number into the record's unit and decimal sign. What is no
// number stays as it is; want says what was expected of one that is ambiguous.
func (s *sheet) number(text string, scale float64) (number, want string) {
	sign := strings.Trim(text, "+-0123456789eE")
	if sign == "," && s.csv.Comma != ',' || sign == "." {
		if s.decimal == "" {
			s.decimal = sign
		}
		if s.decimal != sign {
			return text, fmt.Sprintf("decimals after %q as in the rows above", s.decimal)
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
func (s *sheet) stamp(text string) string {
	for _, layout := range []string{"2006-01-02 15:04:05", "2006-01-02T15:04:05", "2006-01-02 15:04", "2006-01-02T15:04", "2006-01-02"} {
		if t, err := time.ParseInLocation(layout, text, s.zone); err == nil {
			s.zoned = true
			return t.UTC().Format(time.RFC3339Nano)
		}
	}
	return text
}
