package record

import (
	"errors"
	"io"
	"iter"

	"evenpole/capture/record/table"
)

// mostColumns is more than any file of the record has.
const mostColumns = 32

// textRow is a row as text, with its digest, which takes longer than reading the row.
type textRow struct {
	cells  [mostColumns]string
	line   int
	digest string
}

// textColumns reads rows of a layout as text. Where the file is long digests are made
// on all cores.
func textColumns(l *table.Layout) *table.Table[textRow] {
	return cellColumns(l).Finish(func(x *textRow, c *table.Cells) {
		x.line, x.digest = c.Line, digestOf(l, x.cells[:len(l.Names)])
	})
}

// cellColumns reads the cells of rows alone.
func cellColumns(l *table.Layout) *table.Table[textRow] {
	columns := make([]table.Column[textRow], len(l.Names))
	for i, name := range l.Names {
		columns[i] = table.Text(name, func(x *textRow) *string { return &x.cells[i] })
	}
	return table.New(columns...).Finish(func(x *textRow, c *table.Cells) { x.line = c.Line })
}

// textRows reads the rows of a file. A line that is no row has the digest of nothing,
// and comes with its *RowError. The sequence ends with any other error, and with that of
// the header.
func textRows(r io.Reader, name string, l *table.Layout) iter.Seq2[textRow, error] {
	return func(yield func(textRow, error) bool) {
		for x, err := range table.Read(r, name, textColumns(l), nil) {
			if bad := (*RowError)(nil); errors.As(err, &bad) {
				x = textRow{line: bad.Line, digest: digestOf(l, nil)}
			}
			if !yield(x, err) {
				return
			}
		}
	}
}
