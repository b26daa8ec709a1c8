package record

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strings"

	"github.com/gocarina/gocsv"
)

// Readings reads a readings file: CSV with one header row, columns by name in
// any order, of which string, core_mm, pole_height_mm, string_height_mm and
// rms_mv are required. Columns that it does not know are passed over, and an
// empty cell is as good as an absent column. name stands for the file in
// errors.
//
// A row that is wrong comes as a *RowError in place of its reading, and the
// rows after it still follow. Whatever else goes wrong ends the sequence.
func Readings(r io.Reader, name string) iter.Seq2[Reading, error] {
	return read(r, name, needReading, func(w *readingRow, c *cells, line int) Reading {
		x := w.parse(c)
		x.Line = line
		return x
	})
}

// Fields reads a file of field readings as Readings does one of readings. Of
// its columns field_mt is required.
func Fields(r io.Reader, name string) iter.Seq2[FieldReading, error] {
	return read(r, name, needField, func(w *fieldRow, c *cells, line int) FieldReading {
		x := w.parse(c)
		x.Line = line
		return x
	})
}

// read reads rows of type W, each as a value of type T.
func read[W, T any](r io.Reader, name string, need []string, parse func(*W, *cells, int) T) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		var none T
		t, err := openTable[W](r, name, need)
		if err != nil {
			yield(none, err)
			return
		}
		for {
			w, line, err := t.next()
			if err == io.EOF {
				return
			}
			c := cells{place: t.place, line: line}
			x := none
			if err == nil {
				if x = parse(w, &c, line); c.err != nil {
					x, err = none, c.err
				}
			}
			if !yield(x, err) || !isRowError(err) {
				return
			}
		}
	}
}

// isRowError tells whether reading can go on after err.
func isRowError(err error) bool {
	var row *RowError
	return err == nil || errors.As(err, &row)
}

// table reads a CSV file row by row into structs of type W.
type table[W any] struct {
	name  string
	csv   *csv.Reader
	rows  *gocsv.Unmarshaller
	index map[string]int // of each column
}

func openTable[W any](r io.Reader, name string, need []string) (*table[W], error) {
	t := &table[W]{name: name}
	t.csv, _ = newCSVReader(r)
	var err error
	if t.rows, err = gocsv.NewUnmarshaller(t.csv, new(W)); err == io.EOF {
		return nil, &RowError{name, 1, "", "expected a header row, got an empty file"}
	} else if err != nil {
		return nil, explain(err, name, 0)
	}
	return t, t.indexColumns(need)
}

// byteOrderMark is what some editors begin UTF-8 with.
var byteOrderMark = []byte("\xef\xbb\xbf")

// newCSVReader returns a reader past a byte order mark, and how long that is.
func newCSVReader(r io.Reader) (c *csv.Reader, skipped int64) {
	b := bufio.NewReader(r)
	if head, _ := b.Peek(len(byteOrderMark)); bytes.Equal(head, byteOrderMark) {
		n, _ := b.Discard(len(byteOrderMark))
		skipped = int64(n)
	}
	return csv.NewReader(b), skipped
}

// indexColumns notes where each column is, and refuses a header in which a
// needed one is missing or one that is read stands twice.
func (t *table[W]) indexColumns(need []string) error {
	known := columnsOf[W]()
	t.index = make(map[string]int, len(t.rows.Headers))
	line, _ := t.csv.FieldPos(0)
	for i, header := range t.rows.Headers {
		name := strings.TrimSpace(header)
		if _, twice := t.index[name]; twice && slices.Contains(known, name) {
			return &RowError{t.name, line, name, "expected the column once, got it twice"}
		}
		t.index[name] = i
	}
	var missing []string
	for _, name := range need {
		if _, ok := t.index[name]; !ok {
			missing = append(missing, name)
		}
	}
	if len(missing) > 0 {
		header := strings.Join(t.rows.Headers, ",")
		got, _, _ := strings.Cut(header, "\r") // which is the whole file when no line ends in LF
		return &RowError{t.name, line, strings.Join(missing, ", "),
			fmt.Sprintf("expected in the header, got %q%s", got, savedOtherwise(header))}
	}
	return nil
}

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

// next reads a row and tells the line on which it starts.
func (t *table[W]) next() (w *W, line int, err error) {
	row, err := t.rows.Read()
	if err == io.EOF {
		return nil, 0, err
	}
	if err != nil {
		return nil, 0, t.explain(err)
	}
	line, _ = t.csv.FieldPos(0)
	return row.(*W), line, nil
}

// place tells where the cell of a column of the row just read is.
func (t *table[W]) place(column string) (file string, line int) {
	line, _ = t.csv.FieldPos(t.index[column])
	return t.name, line
}

// explain puts what the CSV library says into our words. An error of the
// underlying reader stays what it is.
func (t *table[W]) explain(err error) error { return explain(err, t.name, len(t.rows.Headers)) }

// explain is for a file whose header has so many columns.
func explain(err error, name string, width int) error {
	var pe *csv.ParseError
	if !errors.As(err, &pe) {
		return fmt.Errorf("%s: %w", name, err)
	}
	e := &RowError{File: name, Line: pe.Line, Msg: pe.Err.Error()}
	switch {
	case errors.Is(err, csv.ErrFieldCount):
		e.Line = pe.StartLine
		e.Msg = fmt.Sprintf("expected %d cells as in the header, got another number", width)
	case errors.Is(err, csv.ErrQuote):
		e.Line = pe.StartLine
		e.Msg = fmt.Sprintf("expected a quoted cell to end with a quote and a comma, got something else at line %d", pe.Line)
	case errors.Is(err, csv.ErrBareQuote):
		e.Msg = `expected quotes only round a whole cell and doubled inside it, got a single one`
	}
	return e
}

// columnsOf returns the names of the columns of a row type, in order.
func columnsOf[W any]() []string {
	columns, _ := record(*new(W))
	return columns
}

// record returns a row as CSV records it: names of columns and their cells.
func record[W any](w W) (columns, values []string) {
	var g grid
	if err := gocsv.MarshalCSV([]W{w}, &g); err != nil {
		panic(err) // W is a struct of strings
	}
	return g[0], g[1]
}

// grid collects CSV records.
type grid [][]string

func (g *grid) Write(row []string) error {
	*g = append(*g, slices.Clone(row))
	return nil
}

func (g *grid) Flush()       {}
func (g *grid) Error() error { return nil }
