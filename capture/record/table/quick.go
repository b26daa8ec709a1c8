package table

import (
	"bytes"
	"encoding/binary"
	"io"
	"math/bits"
	"slices"
)

// quickReader reads rows of blocks into values, each the same as the plain reader's. Two
// things make it quick. A cell that says what the cell above it says has the same value,
// and is not looked at again. And a cell in the usual form is read by its column's
// quick function. A row in which a cell is wrong is read once more by the plain reader,
// for the error.
type quickReader[T any] struct {
	table *Table[T]
	plain *Reader
	to    []int // the column of the table of each column of the file; -1 for none
	words words

	above []byte // the row above; nil when its cells are not those of x
	ends  []int  // where its cells end, with the comma or line end

	x     *T     // the row at hand
	row   *Cells // likewise
	inner int    // line ends within its quotes
}

// newQuickReader reads rows of the file of which plain has read the header.
func newQuickReader[T any](t *Table[T], plain *Reader) *quickReader[T] {
	q := &quickReader[T]{table: t, plain: plain, x: new(T)}
	q.to, q.ends = slices.Repeat([]int{-1}, len(plain.Header)), make([]int, len(plain.Header))
	for to, from := range plain.from {
		if from >= 0 {
			q.to[from] = to
		}
	}
	t.reset(q.x)
	at := func(string) (string, int) { return plain.name, 0 } // the plain reader tells the lines of errors
	q.row = &Cells{layout: t.Layout, row: make(Row, len(t.columns)), cell: Cell{at: at}}
	return q
}

// A batch is the rows of one block.
type batch[T any] struct {
	text []byte
	line int // on which the block begins

	values []T
	wrong  []wrongRow
	odd    int // where in the text a row begins from which the plain reader has to go on; -1 for none
}

// wrongRow is the error of a row, whose value is none.
type wrongRow struct {
	at  int // in batch.values
	err error
}

// read reads a block, up to a row from which the plain reader has to go on.
func (q *quickReader[T]) read(b *batch[T]) {
	b.values, b.wrong, b.odd = b.values[:0], b.wrong[:0], -1
	q.above = nil
	for at := 0; at < len(b.text); {
		text := b.text[at:]
		if n := blankLine(text); n > 0 {
			at += n
			b.line++
			continue
		}
		n, good := q.readRow(text, b.line)
		if n == 0 || n > maxCells && tooLarge(text[:n]) {
			b.odd = at
			return
		}
		if good {
			b.values = append(b.values, *q.x)
			q.above = text[:n]
		} else {
			b.addPlain(q.table, q.plain.goOn(bytes.NewReader(text[:n]), b.line))
		}
		if !good || q.inner > 0 { // whose lines have to be counted again in the next row
			q.above = nil
		}
		at += n
		b.line += 1 + q.inner
	}
}

// addPlain adds the next row of the plain reader.
func (b *batch[T]) addPlain(t *Table[T], rows *Reader) {
	x, err := nextValue(rows, t.parser(rows.Place))
	if err != nil {
		b.wrong = append(b.wrong, wrongRow{len(b.values), err})
	}
	b.values = append(b.values, x)
}

// blankLine is the length of the line at the beginning of a text if it is blank, else 0.
func blankLine(text []byte) int {
	switch {
	case text[0] == '\n':
		return 1
	case text[0] == '\r' && text[1] == '\n':
		return 2
	}
	return 0
}

// tooLarge reports whether the plain reader refuses a row for its size.
func tooLarge(row []byte) bool {
	_, err := io.Copy(io.Discard, newBounds(bytes.NewReader(row)))
	return err != nil
}

// readRow reads the row at the beginning of a text. n is its length with the line end; 0
// when the plain reader has to go on from here. good is false when a cell is wrong.
func (q *quickReader[T]) readRow(text []byte, line int) (n int, good bool) {
	good, q.inner = true, 0
	for i, from := 0, 0; ; i++ { // from is where the cell begins in the row above
		if q.above != nil {
			i, n = q.skip(text, i, from, n)
		}
		if i == len(q.to) {
			return n, good && q.finish(line)
		}
		raw, size := cellOf(text[n:])
		if size == 0 || (text[n+size-1] == '\n') != (i == len(q.to)-1) {
			return 0, false // quotes astray, or another number of cells
		}
		good = good && q.set(q.to[i], raw)
		if raw = text[n : n+size]; raw[0] == '"' {
			q.inner += bytes.Count(raw[:size-1], []byte("\n"))
		}
		n += size
		from, q.ends[i] = q.ends[i], n
	}
}

// skip goes over the cells, from cell i on, that are those of the row above. It begins at n
// in the text and at from in the row above, and returns the cell behind and where it begins.
func (q *quickReader[T]) skip(text []byte, i, from, n int) (int, int) {
	same, shift := from+commonPrefix(text[n:], q.above[from:]), n-from
	for i < len(q.ends) && q.ends[i] <= same {
		q.ends[i] += shift
		n = q.ends[i]
		i++
	}
	return i, n
}

// commonPrefix is how many bytes two texts have in common at their beginning.
func commonPrefix(a, b []byte) (n int) {
	for len(a) >= n+8 && len(b) >= n+8 {
		if x := binary.LittleEndian.Uint64(a[n:]) ^ binary.LittleEndian.Uint64(b[n:]); x != 0 {
			return n + bits.TrailingZeros64(x)/8
		}
		n += 8
	}
	for n < len(a) && n < len(b) && a[n] == b[n] {
		n++
	}
	return n
}

// cellOf returns the cell at the beginning of a text, with its quotes, and its size with
// the comma or line end after it; 0 where quotes are astray.
func cellOf(text []byte) (raw []byte, size int) {
	end := 0
	inQuotes := text[0] == '"'
	if inQuotes {
		end = closingQuote(text) + 1
	}
	for ; end < len(text); end++ {
		c := text[end]
		if c > ',' && !inQuotes { // most of them
			continue
		}
		switch {
		case c == ',':
			return text[:end], end + 1
		case c == '\n' && end > 0 && text[end-1] == '\r':
			return text[:end-1], end + 1
		case c == '\n':
			return text[:end], end + 1
		case c == '"' || inQuotes && !bytes.HasPrefix(text[end:], []byte("\r\n")):
			return nil, 0
		}
	}
	return nil, 0
}

// closingQuote returns where the cell's quotes close with which a text begins; the end of
// the text when they do not.
func closingQuote(text []byte) int {
	for i := 1; i < len(text); i++ {
		if text[i] != '"' {
			continue
		}
		if i+1 == len(text) || text[i+1] != '"' {
			return i
		}
		i++
	}
	return len(text)
}

// set reads a cell into a column of the table; false when it is wrong.
func (q *quickReader[T]) set(to int, raw []byte) bool {
	if to < 0 {
		return true
	}
	value := raw
	if len(raw) > 0 && raw[0] == '"' {
		value = withoutQuotes(raw)
	}
	column := &q.table.columns[to]
	quick := column.quick != nil && len(value) > 0 && column.quick(q.x, value)
	if quick && column.text == nil {
		return true
	}
	text := Plain(q.words.of(value))
	if quick {
		column.text(q.x, text)
		return true
	}
	cell := &q.row.cell
	cell.Text, cell.column, cell.err = text, q.table.Names[to], nil
	column.set(q.x, cell)
	return cell.err == nil
}

// finish looks at a row all of whose cells were read; false when something is wrong.
func (q *quickReader[T]) finish(line int) bool {
	if q.table.finish == nil {
		return true
	}
	q.row.Line, q.row.cell.err = line, nil
	q.table.finish(q.x, q.row)
	return q.row.cell.err == nil
}

// withoutQuotes is what a cell in quotes says.
func withoutQuotes(raw []byte) []byte {
	text := raw[1 : len(raw)-1]
	if bytes.IndexByte(text, '"') >= 0 {
		text = bytes.ReplaceAll(text, []byte(`""`), []byte(`"`))
	}
	if bytes.IndexByte(text, '\r') >= 0 {
		text = bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n"))
	}
	return text
}

// words keeps one copy of texts that come again, as the same names stand in many rows. A
// text takes the place of another with the same hash.
type words [1 << 10]string

func (w *words) of(text []byte) string {
	h := uint32(len(text))
	for _, c := range text[max(0, len(text)-8):] { // where names mostly differ
		h = 31*h + uint32(c)
	}
	s := &w[h%uint32(len(w))]
	if *s != string(text) {
		*s = string(text)
	}
	return *s
}
