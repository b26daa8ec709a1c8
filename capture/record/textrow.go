package record

import (
	"errors"
	"io"
	"iter"

	"evenpole/capture/record/table"
)

// mostColumns is more than any file of the record has.
const mostColumns = 32

// textRow is a row as text.
type textRow struct {
	cells [mostColumns]string
	line  int
}

// cellColumns reads rows of a layout as text.
func cellColumns(l *table.Layout) *table.Table[textRow] {
	return textColumns(l, func(x *textRow) *[mostColumns]string { return &x.cells }).Finish(func(x *textRow, c *table.Cells) { x.line = c.Line })
}

// textColumns are the columns of a layout as text, of which each goes to its place in what
// cells returns.
func textColumns[T any](l *table.Layout, cells func(*T) *[mostColumns]string) *table.Table[T] {
	columns := make([]table.Column[T], len(l.Names))
	for i, name := range l.Names {
		columns[i] = table.Text(name, func(x *T) *string { return &cells(x)[i] })
	}
	return table.New(columns...)
}

// digestRow is where a row stands, and the digest of what it says.
type digestRow struct {
	line   int
	digest hexDigest
	cells  *[mostColumns]string // of the row at hand; the rows that one goroutine reads share them
}

// digestColumns reads the digests of rows of a layout, which takes longer than to read
// the rows: where the file is long that is done on all cores.
func digestColumns(l *table.Layout) *table.Table[digestRow] {
	var blank *[mostColumns]string // of the row with which every goroutine begins
	cells := func(x *digestRow) *[mostColumns]string {
		if x.cells == blank {
			x.cells = new([mostColumns]string)
		}
		return x.cells
	}
	t := textColumns(l, cells)
	first, _ := t.Parse(make(table.Row, len(l.Names)), nil)
	blank = first.cells
	return t.Finish(func(x *digestRow, c *table.Cells) {
		x.line, x.digest = c.Line, digestOf(l, cells(x)[:len(l.Names)])
	})
}

// digestRows reads the digests of the rows of a file. A line that is no row has the digest
// of nothing, and comes with its *RowError. The sequence ends with any other error, and
// with that of the header.
func digestRows(r io.Reader, name string, l *table.Layout) iter.Seq2[digestRow, error] {
	return func(yield func(digestRow, error) bool) {
		for x, err := range table.Read(r, name, digestColumns(l), nil) {
			if bad := (*RowError)(nil); errors.As(err, &bad) {
				x = digestRow{line: bad.Line, digest: digestOf(l, nil)}
			}
			if !yield(x, err) {
				return
			}
		}
	}
}
