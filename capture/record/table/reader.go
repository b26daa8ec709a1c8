package table

import (
	"encoding/csv"
	"errors"
	"io"
	"slices"
	"strings"
)

// A Reader reads a CSV file row by row. The file has its columns in any order, and may
// have others, which are passed over.
type Reader struct {
	Header []string // names of the file's columns, in its order

	name string
	csv  *csv.Reader
	head int            // bytes of the header, with a byte order mark
	over int            // lines over those that csv reads
	line int            // on which the row at hand starts
	at   map[string]int // where the file has each column
	from []int          // where the file has the columns of the layout, -1 for nowhere
	row  Row
}

// Open reads the header of a file that stands under a name in errors. It refuses one
// that lacks a needed column, or that has a column of the layout twice.
func Open(r io.Reader, name string, l *Layout, need []string) (*Reader, error) {
	t := &Reader{name: name, row: make(Row, len(l.Names)), at: map[string]int{}}
	var mark int64
	t.csv, mark = NewCSV(r)
	header, line, err := Header(t.csv, name)
	if err != nil {
		return nil, err
	}
	t.head = int(mark + t.csv.InputOffset())
	t.csv.ReuseRecord = true
	t.Header, t.line = Trimmed(header), line
	for i, name := range t.Header {
		_, twice := t.at[name]
		if _, known := l.Index(name); twice && known {
			return nil, Errorf(t.name, line, name, "expected the column once, got it twice")
		}
		t.at[name] = i
	}
	t.from = l.find(header)
	missing := slices.DeleteFunc(slices.Clone(need), func(name string) bool { _, ok := t.at[name]; return ok })
	if len(missing) > 0 {
		whole := strings.Join(header, ",")
		got, _, _ := strings.Cut(whole, "\r") // which is the whole file when no line ends in LF
		return nil, Errorf(t.name, line, strings.Join(missing, ", "), "expected in the header, got %q%s", shown(got), savedOtherwise(whole))
	}
	return t, nil
}

// find returns where a header has each column, -1 for nowhere. Marks without width
// that some programs leave in a header do not hide a column.
func (l *Layout) find(header []string) []int {
	from := slices.Repeat([]int{-1}, len(l.Names))
	for at, text := range header {
		i, ok := l.index[strings.TrimSpace(text)]
		if !ok {
			i, ok = l.index[visible.Replace(text)]
		}
		if ok {
			from[i] = at
		}
	}
	return from
}

var visible = strings.NewReplacer("\u200b", "", "\u200c", "", "\u200d", "", "\ufeff", "")

// savedOtherwise says how a file has to be saved whose header shows that a
// spreadsheet saved it in another form; "" when it shows nothing of the kind.
func savedOtherwise(header string) string {
	switch {
	case strings.ContainsRune(header, 0):
		return ": save it as CSV in UTF-8"
	case !strings.Contains(header, ",") && strings.ContainsAny(header, ";\t"):
		return ": save it with commas between cells and decimal points"
	case strings.ContainsRune(header, '\r'):
		return ": save it with line ends of LF or CR LF"
	}
	return ""
}

// Next reads a row. It is good until the next one is read. After a *RowError reading
// can go on; at the end of the file the error is io.EOF.
func (t *Reader) Next() (Row, error) {
	cells, err := t.csv.Read()
	if err == io.EOF {
		return nil, err
	}
	if err != nil {
		err = Explain(moved(err, t.over), t.name, len(t.Header))
		if bad := (*RowError)(nil); errors.As(err, &bad) {
			t.line = bad.Line
		}
		return nil, err
	}
	t.line = t.lineOf(0)
	for i, from := range t.from {
		if from >= 0 {
			t.row[i] = Plain(cells[from])
		}
	}
	return t.row, nil
}

// Place is the [Place] of the cells of the row that was read last.
func (t *Reader) Place(column string) (file string, line int) {
	if column == "" {
		return t.name, t.line
	}
	return t.name, t.lineOf(t.at[column])
}

// lineOf is the line on which a cell of the row at hand starts.
func (t *Reader) lineOf(cell int) int {
	line, _ := t.csv.FieldPos(cell)
	return line + t.over
}

// goOn returns a reader of rows of the same file, of which the first one starts on some
// line.
func (t *Reader) goOn(r io.Reader, line int) *Reader {
	u := *t
	u.csv = csv.NewReader(newBounds(r))
	u.csv.FieldsPerRecord, u.csv.ReuseRecord = len(t.Header), true
	u.over, u.row = line-1, make(Row, len(t.row))
	return &u
}

// moved returns an error of package csv with so many lines more.
func moved(err error, lines int) error {
	if large := (*sizeError)(nil); errors.As(err, &large) {
		return &sizeError{large.line + lines, large.msg}
	}
	if pe := (*csv.ParseError)(nil); errors.As(err, &pe) {
		return &csv.ParseError{StartLine: pe.StartLine + lines, Line: pe.Line + lines, Column: pe.Column, Err: pe.Err}
	}
	return err
}

// readPlain reads values row by row.
func readPlain[T any](rows *Reader, t *Table[T], yield func(T, error) bool) {
	parse := t.parser(rows.Place)
	for {
		x, err := nextValue(rows, parse)
		if err == io.EOF || !yield(x, err) || !canGoOn(err) {
			return
		}
	}
}

// nextValue reads the next row; a wrong one has no value.
func nextValue[T any](rows *Reader, parse func(Row) (T, *RowError)) (x T, err error) {
	row, err := rows.Next()
	if err != nil {
		return x, err
	}
	y, bad := parse(row)
	if bad != nil {
		return x, bad
	}
	return y, nil
}

// canGoOn tells whether reading can go on after err.
func canGoOn(err error) bool {
	var row *RowError
	return err == nil || errors.As(err, &row)
}
