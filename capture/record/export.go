package record

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"io"
	"path/filepath"
	"slices"
	"time"

	"evenpole/capture/record/table"
)

// A Filter says which rows of a record to export. What is empty lets every row
// through; of several values any will do.
type Filter struct {
	Pickups, Batches, Sessions []string
	Purposes                   []Purpose
	Statuses                   []Status

	Since, Before time.Time // the row's time is Since or later, and before Before
}

// isEmpty tells whether every row is let through.
func (f *Filter) isEmpty() bool {
	return len(f.Pickups)+len(f.Batches)+len(f.Sessions)+len(f.Purposes)+len(f.Statuses) == 0 && f.Since.IsZero() && f.Before.IsZero()
}

// Export writes the rows of a shop's file, ReadingsFile or FieldsFile, that a
// filter lets through, as CSV with all the columns that the file has, a person's
// own included, and no cell that is a formula (see [table.Guarded]). It tells how many rows
// that were.
//
// A reading that was taken back has the status retracted for the filter,
// whatever its row says, as has the row that takes it back; an empty status is
// ok. A field reading has the purpose of its session.
//
// Errors: a *RowError for a row that cannot be read; fs.ErrNotExist when there
// is no such file; that of ctx when it is done. Nothing is written where a row cannot be
// read, so that nobody takes a part for all: for that the file is read twice, as to keep its
// rows would take memory that grows with them.
func Export(ctx context.Context, to io.Writer, dir, file string, f Filter) (rows int, err error) {
	return export(ctx, to, dir, file, f, false)
}

// ExportOnce is Export in one reading of the file, for a writer that throws away what was
// written when there is an error: it may have rows by then.
func ExportOnce(ctx context.Context, to io.Writer, dir, file string, f Filter) (rows int, err error) {
	return export(ctx, to, dir, file, f, true)
}

func export(ctx context.Context, to io.Writer, dir, file string, f Filter, once bool) (rows int, err error) {
	x := &exporter{ctx: ctx, filter: f, path: filepath.Join(dir, file), to: table.NewWriter(to, false), once: once}
	if file == FieldsFile {
		if x.purposes, err = purposesOf(filepath.Join(dir, SessionsFile)); err == nil {
			err = exportFile(x, fieldColumns, aboutField)
		}
	} else {
		err = exportFile(x, readingColumns, aboutReading)
	}
	return max(x.rows-1, 0), errors.Join(err, x.to.Flush())
}

// purposesOf returns the purpose of each session.
func purposesOf(sessions string) (map[string]Purpose, error) {
	all := map[string]Purpose{}
	for h, err := range ReadFile(sessions, readHolds) {
		if err != nil {
			return nil, err
		}
		all[h.Session] = h.Purpose
	}
	return all, nil
}

type exporter struct {
	ctx      context.Context
	filter   Filter
	path     string
	to       *table.Writer
	once     bool
	purposes map[string]Purpose // of sessions of field readings
	back     map[ID]int         // how often rows of the file take a reading back; nil where no status is asked for
	standing Standing           // has met the rows so far
	rows     int                // copied, the header among them
}

// exportFile copies rows of a file, as it stands when it is opened. Beside what they say, its
// text is cut into them, since it is copied as it stands.
func exportFile[T any](x *exporter, columns *table.Table[T], meaning func(*T) about) error {
	file, err := openNow(x.path)
	if err != nil {
		return err
	}
	defer file.Close()
	again := func() io.Reader { return io.NewSectionReader(file, 0, file.Size()) }
	if !x.once {
		if err := eachRow(x.ctx, again(), x.path, columns, meaning, func(about) error { return nil }); err != nil {
			return err
		}
	}
	if len(x.filter.Statuses) > 0 {
		if x.back, err = takenBackIn(again(), x.path, columns, meaning); err != nil {
			return err
		}
	}
	lines := table.NewLines(again())
	if err := x.copy(lines, true); err != nil {
		return err
	}
	if !x.once && x.filter.isEmpty() { // all rows can be read, and what they say does not matter
		return x.copyRest(lines)
	}
	return eachRow(x.ctx, again(), x.path, columns, meaning, func(a about) error {
		a.purpose = cmp.Or(a.purpose, x.purposes[a.session])
		if x.back != nil && x.isTakenBack(&a) {
			a.status = Retracted
		}
		return x.copy(lines, x.passes(&a))
	})
}

// takenBackIn counts how often rows of a file take each reading back. Only these rows are
// read.
func takenBackIn[T any](r io.Reader, path string, columns *table.Table[T], meaning func(*T) about) (map[ID]int, error) {
	text, err := rowsWith(r, []byte(Retracted))
	if err != nil {
		return nil, err
	}
	back := map[ID]int{}
	for x, err := range table.Read(bytes.NewReader(text), path, columns, nil) {
		if a := meaning(&x); err == nil && a.named && a.status == Retracted {
			back[a.id]++
		}
	}
	return back, nil
}

// isTakenBack meets the next row, and tells whether it is taken back by a row above, or by
// one that is still to come.
func (x *exporter) isTakenBack(a *about) bool {
	ref, _ := x.standing.Meet(a)
	return a.named && x.standing.WillBeTakenBack(a.id, ref, x.back[a.id])
}

// copy takes the next row of the file over as it stands, or leaves it out.
func (x *exporter) copy(lines *table.Lines, take bool) error {
	row, err := lines.Next()
	if err == nil && take {
		x.rows++
		err = x.to.Copy(row)
	}
	return err
}

// copyRest takes all rows over that follow.
func (x *exporter) copyRest(lines *table.Lines) error {
	for row := 1; ; row++ {
		err := x.copy(lines, true)
		if err == io.EOF {
			return nil
		}
		if err == nil {
			err = TellRow(x.ctx, x.path, row)
		}
		if err != nil {
			return err
		}
	}
}

// passes tells whether the filter lets a row through.
func (x *exporter) passes(a *about) bool {
	f := &x.filter
	status := cmp.Or(a.status, OK)
	return among(f.Pickups, a.pickup) && among(f.Batches, a.batch) && among(f.Sessions, a.session) &&
		among(f.Purposes, a.purpose) && among(f.Statuses, status) &&
		(f.Since.IsZero() || !a.time.Before(f.Since)) &&
		(f.Before.IsZero() || !a.time.IsZero() && a.time.Before(f.Before))
}

func among[T comparable](wanted []T, x T) bool {
	return len(wanted) == 0 || slices.Contains(wanted, x)
}

// eachRow reads a file row by row, until one cannot be read or do returns an
// error.
func eachRow[T any](ctx context.Context, f io.Reader, path string, columns *table.Table[T], meaning func(*T) about, do func(about) error) error {
	row := 0
	for x, err := range table.Read(f, path, columns, nil) {
		if err == nil {
			err = do(meaning(&x))
		}
		if row++; err == nil {
			err = TellRow(ctx, path, row)
		}
		if err != nil {
			return err
		}
	}
	return nil
}
