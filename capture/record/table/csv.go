package table

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
)

// byteOrderMark is what some editors begin UTF-8 with.
var byteOrderMark = []byte("\xef\xbb\xbf")

// NewCSV returns a reader that begins after a byte order mark, and how many bytes
// that mark takes. It reads no further than a row that is too large, see [MaxRow];
// [Explain] turns the error into a *RowError.
func NewCSV(r io.Reader) (c *csv.Reader, skipped int64) {
	b := bufio.NewReader(newBounds(r))
	if head, _ := b.Peek(len(byteOrderMark)); bytes.Equal(head, byteOrderMark) {
		n, _ := b.Discard(len(byteOrderMark))
		skipped = int64(n)
	}
	return csv.NewReader(b), skipped
}

// Header reads the header row: its cells, and the line on which it stands.
func Header(c *csv.Reader, name string) (header []string, line int, err error) {
	header, err = c.Read()
	if err == io.EOF {
		return nil, 0, Errorf(name, 1, "", "expected a header row, got an empty file")
	}
	if err != nil {
		return nil, 0, Explain(err, name, 0)
	}
	line, _ = c.FieldPos(0)
	return header, line, nil
}

// Trimmed returns cells without the spaces round them.
func Trimmed(cells []string) []string {
	names := make([]string, len(cells))
	for i, text := range cells {
		names[i] = strings.TrimSpace(text)
	}
	return names
}

// Explain says in plain words what package csv found wrong in a file whose header
// has so many columns. An error of the underlying reader stays what it is.
func Explain(err error, name string, width int) error {
	if large := (*sizeError)(nil); errors.As(err, &large) {
		return Errorf(name, large.line, "", "%s", large.msg)
	}
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

// A Writer writes rows, each cell [Guarded].
type Writer struct {
	out   *bufio.Writer
	csv   *csv.Writer // writes to out
	cells []string
}

// NewWriter returns a writer whose lines end in LF, or in CR LF as RFC 4180 has it.
func NewWriter(to io.Writer, lf bool) *Writer {
	out := bufio.NewWriter(to)
	w := &Writer{out: out, csv: csv.NewWriter(out)} // which takes out for its own buffer
	w.csv.UseCRLF = !lf
	return w
}

// Write writes a row; Flush brings it on its way.
func (w *Writer) Write(row []string) error {
	w.cells = w.cells[:0]
	for _, cell := range row {
		w.cells = append(w.cells, Guarded(cell))
	}
	return w.csv.Write(w.cells)
}

// Flush writes what waits, and returns the first error of all writing.
func (w *Writer) Flush() error {
	w.csv.Flush()
	return w.csv.Error()
}

// WriteLines writes rows in one go.
func WriteLines(to io.Writer, lf bool, lines ...[]string) error {
	var text bytes.Buffer
	w := NewWriter(&text, lf)
	for _, line := range lines {
		if err := w.Write(line); err != nil {
			return err
		}
	}
	if err := w.Flush(); err != nil {
		return err
	}
	_, err := to.Write(text.Bytes())
	return err
}
