package table

import (
	"bufio"
	"bytes"
	"errors"
	"io"
)

// Lines cuts CSV into rows as they stand, with their line ends: the header, then the
// others, blank lines left out. Rows may have line ends within quotes.
type Lines struct {
	in  *bufio.Reader
	row []byte // of more than one piece
}

// NewLines begins after a byte order mark.
func NewLines(r io.Reader) *Lines {
	l := &Lines{in: bufio.NewReaderSize(r, blockSize)}
	if head, _ := l.in.Peek(len(byteOrderMark)); bytes.Equal(head, byteOrderMark) {
		_, _ = l.in.Discard(len(byteOrderMark))
	}
	return l
}

// Next is the next row, good until the one after it is asked for; io.EOF at the end.
func (l *Lines) Next() ([]byte, error) {
	l.row = l.row[:0]
	quotes := 0
	for {
		piece, err := l.in.ReadSlice('\n')
		if err != nil && err != io.EOF && !errors.Is(err, bufio.ErrBufferFull) {
			return nil, err
		}
		quotes += bytes.Count(piece, []byte{'"'})
		whole := err == nil && quotes%2 == 0
		switch {
		case whole && len(l.row) == 0 && blankLine(piece) > 0:
			continue
		case whole && len(l.row) == 0:
			return piece, nil
		}
		l.row = append(l.row, piece...)
		if whole || err == io.EOF && len(l.row) > 0 {
			return l.row, nil
		}
		if err == io.EOF {
			return nil, err
		}
	}
}

// Copy writes a row of another file, as [Lines] returns it: as it stands where its cells
// would be written just so.
func (w *Writer) Copy(row []byte) error {
	text := bytes.TrimSuffix(bytes.TrimSuffix(row, []byte("\n")), []byte("\r"))
	if !asWritten(text) {
		cells, _ := NewCSV(bytes.NewReader(row))
		line, err := cells.Read()
		if err != nil {
			return err
		}
		for i, cell := range line {
			line[i] = Plain(cell)
		}
		return w.Write(line)
	}
	end := "\r\n"
	if !w.csv.UseCRLF {
		end = "\n"
	}
	_, err := w.out.Write(text) // what csv writes goes through the same buffer
	if err == nil {
		_, err = w.out.WriteString(end)
	}
	return err
}

// asWritten reports whether all cells of a row without its line end are empty or begin
// with a letter or digit, and none has quotes or a line end in it: such a cell has none
// when it is written, and is no formula.
func asWritten(row []byte) bool {
	begins := true
	for _, c := range row {
		switch {
		case c == ',':
			begins = true
		case c == '"' || c == '\r' || c == '\n' || begins && !isLetterOrDigit(c):
			return false
		default:
			begins = false
		}
	}
	return len(row) > 0
}

func isLetterOrDigit(c byte) bool {
	return c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z'
}
