package record

import (
	"errors"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
)

// A sealer writes the seals of the rows that a ledger writes. Its zero value seals
// nothing.
type sealer struct {
	path    string
	file    disk.Appender
	create  func(path string) (disk.Appender, error)
	last    seal       // the newest one, written or in overdue
	overdue [][]string // lines to write before the next seal: the header, and seals of rows that have none
}

// openSealer looks at a record and its seals, and refuses a file that is no file of
// seals. It writes nothing: rows that stand in the record without a seal are to be
// sealed with the remark why, see settle.
func openSealer(record string, columns *table.Layout, why string, create func(path string) (disk.Appender, error)) (sealer, error) {
	z := sealer{path: sealsPath(record), create: create}
	info, err := os.Stat(z.path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return z, err
	}
	started := err == nil
	if err != nil || info.Size() == 0 {
		z.overdue = [][]string{sealColumns.Names}
	} else if z.last, err = lastSeal(z.path); err != nil {
		return z, err
	}
	if !started {
		rows, err := countRows(record, columns)
		if rows > 0 {
			z.addOverdue(seal{row: rows, remark: neverSealed})
		}
		return z, err
	}
	_, unsealed, err := rowsAfter(record, columns, z.last)
	for _, digest := range unsealed {
		z.addOverdue(seal{row: z.last.row + 1, digest: digest, remark: why})
	}
	return z, err
}

// rowsAfter counts the rows of a record, and returns the digests of those that stand
// after the row of the last seal: the row of that number, or, where rows were added or
// removed, the last one of the same digest. Where no row has that digest, as the row
// was altered, the number of rows tells which are new.
//
// Where the row of that number has that digest, as it mostly has, no row before it is read.
func rowsAfter(record string, columns *table.Layout, last seal) (rows int, unsealed []string, err error) {
	err = withRows(record, func(f *snapshot) (err error) {
		exact := false
		if end, ok := endOf(f, f.Size(), last.row, f.Size()); ok {
			rows, unsealed, exact, err = digestsAfter(end, end.before, record, columns, last)
		}
		if err != nil || !exact {
			rows, unsealed, _, err = digestsAfter(f, 0, record, columns, last)
		}
		return err
	})
	return rows, unsealed, err
}

// countRows counts the rows of a record.
func countRows(record string, columns *table.Layout) (rows int, err error) {
	err = withRows(record, func(f *snapshot) (err error) {
		end, ok := endOf(f, f.Size(), math.MaxInt, f.Size())
		if !ok {
			end.Reader = f
		}
		rows, _, _, err = digestsAfter(end, end.before, record, columns, seal{row: math.MaxInt})
		return err
	})
	return rows, err
}

// digestsAfter is rowsAfter for a file from the row after so many on. exact tells whether
// the row of the last seal's number has its digest.
func digestsAfter(r io.Reader, rows int, name string, columns *table.Layout, last seal) (all int, unsealed []string, exact bool, err error) {
	found := false
	for row, err := range digestRows(r, name, columns) {
		if err != nil {
			return rows, unsealed, exact, err
		}
		rows++
		switch {
		case string(row.digest[:]) == last.digest && !exact:
			found, exact, unsealed = true, rows == last.row, nil
		case found || rows > last.row:
			unsealed = append(unsealed, string(row.digest[:]))
		}
	}
	return rows, unsealed, exact, nil
}

// addOverdue notes a seal that is to be written before the next one.
func (z *sealer) addOverdue(s seal) {
	z.last = s.after(z.last)
	z.overdue = append(z.overdue, sealColumns.Row(&z.last))
}

// lastSeal returns the last seal that can be read. A header that is wrong is an
// error; wrong lines are left for Verify to find. Most of a long file is not read.
func lastSeal(path string) (last seal, err error) {
	err = withRows(path, func(f *snapshot) (err error) {
		if end, ok := endOf(f, f.Size(), math.MaxInt, f.Size()-pieceSize); ok {
			last, err = lastSealOf(end, path)
		}
		if err == nil && last == (seal{}) {
			last, err = lastSealOf(f, path)
		}
		return err
	})
	return last, err
}

func lastSealOf(seals io.Reader, name string) (last seal, err error) {
	for s, err := range readSeals(seals, name) {
		var row *RowError
		switch {
		case err == nil:
			last = s
		case !errors.As(err, &row) || row.Line == 1:
			return seal{}, err
		}
	}
	return last, nil
}

// endsAsSealed tells whether the last row of a record says what the newest seal
// says.
func endsAsSealed(record string, columns *table.Layout) bool {
	newest, err := lastSeal(sealsPath(record))
	if err != nil || newest.digest == "" {
		return false
	}
	f, err := disk.Open(record)
	if err != nil {
		return false
	}
	defer f.Close()
	last := ""
	err = scan(f, record, columns, func(row table.Row, _ table.Place, _ *RowError) { last = rowDigest(columns, row) })
	return err == nil && last == newest.digest
}

// settle writes the seals of rows that were found without one. That rows are from
// before there were seals is written with the next row, as is the header of a file that
// is not there yet.
func (z *sealer) settle() error {
	if len(z.overdue) == 0 || z.last.digest == "" {
		return nil
	}
	if err := z.begin(); err != nil {
		return &disk.WriteError{Path: z.path, Err: err}
	}
	return nil
}

// begin opens the file, so that there are seals before there is a row.
func (z *sealer) begin() error {
	if z.file != nil || z.create == nil {
		return nil
	}
	f, err := z.create(z.path)
	if err != nil {
		return err
	}
	z.file = f
	if len(z.overdue) == 0 {
		return nil
	}
	if err := table.WriteLines(z.file, false, z.overdue...); err != nil {
		return err
	}
	z.overdue = nil
	return errors.Join(z.file.Sync(), disk.SyncDir(filepath.Dir(z.path)))
}

// add seals rows that are on the disk. It does not wait until its own lines
// are: seals that a power cut takes are written by the next writer.
func (z *sealer) add(digests []string) error {
	if z.create == nil {
		return nil
	}
	if err := z.begin(); err != nil {
		return err
	}
	lines := make([][]string, len(digests))
	for i, digest := range digests {
		z.last = seal{row: z.last.row + 1, digest: digest}.after(z.last)
		lines[i] = sealColumns.Row(&z.last)
	}
	return table.WriteLines(z.file, false, lines...)
}

func (z *sealer) close() error {
	if z.file == nil {
		return nil
	}
	err := errors.Join(z.file.Sync(), z.file.Close())
	z.file = nil
	if err != nil {
		return &disk.WriteError{Path: z.path, Err: err}
	}
	return nil
}
