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
	columns := make([]table.Column[textRow], len(l.Names))
	for i, name := range l.Names {
		columns[i] = table.Text(name, func(x *textRow) *string { return &x.cells[i] })
	}
	return table.New(columns...).Finish(func(x *textRow, c *table.Cells) { x.line = c.Line })
}

// digestRow is where a row stands, and the digest of what it says.
type digestRow struct {
	line   int
	digest hexDigest
}

// digestRows reads the digests of the rows of a file, as keptRows does. A line that is no row
// has the digest of nothing. To work digests out takes longer than to read the rows: where the
// file is long that is done on all cores.
func digestRows(r io.Reader, name string, l *table.Layout) iter.Seq2[digestRow, error] {
	columns := make([]table.Column[struct{}], len(l.Names))
	for i, name := range l.Names {
		columns[i] = table.Passed[struct{}](name)
	}
	rows := table.Each(table.New(columns...), func(_ *struct{}, cells table.Row, line int, _ *RowError) digestRow {
		return digestRow{line, digestOf(l, cells)}
	})
	return keptRows(r, name, rows, func(bad *RowError) digestRow { return digestRow{bad.Line, digestOf(l, nil)} })
}

// auditedRow is what there is to ask of a row that is verified.
type auditedRow struct {
	digestRow
	about about
	bad   *RowError // why it cannot be read, and about says nothing; nil where it can
}

// auditRows reads a file of the record in one pass for both the digests of its rows and what
// they are about, as keptRows does.
func auditRows[T any](r io.Reader, name string, columns *table.Table[T], meaning func(*T) about) iter.Seq2[auditedRow, error] {
	rows := table.Each(columns, func(x *T, cells table.Row, line int, bad *RowError) auditedRow {
		row := auditedRow{digestRow: digestRow{line, digestOf(columns.Layout, cells)}, bad: bad}
		if bad == nil {
			row.about = meaning(x)
		}
		return row
	})
	return keptRows(r, name, rows, func(bad *RowError) auditedRow {
		return auditedRow{digestRow: digestRow{bad.Line, digestOf(columns.Layout, nil)}, bad: bad}
	})
}

// keptRows reads what is kept of the rows of a file; noRow is what is kept of a line that is
// none. The sequence ends with an error that is not a row's, and with the header's.
func keptRows[T, U any](r io.Reader, name string, rows *table.Table[table.Kept[T, U]], noRow func(*RowError) U) iter.Seq2[U, error] {
	return func(yield func(U, error) bool) {
		for row, err := range table.Read(r, name, rows, nil) {
			if bad := (*RowError)(nil); errors.As(err, &bad) {
				row.Made, err = noRow(bad), nil
			}
			if !yield(row.Made, err) || err != nil {
				return
			}
		}
	}
}
