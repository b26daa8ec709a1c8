package record

import (
	"errors"
	"io"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
)

// The files of a record that copies of it hold beside readings, fields and sessions.
const (
	ReadingSealsFile = "readings.seals.csv"
	FieldSealsFile   = "fields.seals.csv"
)

// copied is what a copy of a file has to know: its columns, and which rows are sound.
type copied struct {
	*table.Layout
	check func(table.Row, table.Place) *RowError
}

func copiedOf[T any](t *table.Table[T]) copied {
	return copied{t.Layout, func(row table.Row, at table.Place) *RowError {
		_, err := t.Parse(row, at)
		return err
	}}
}

var copiedFiles = map[string]copied{
	ReadingsFile:     copiedOf(readingColumns),
	FieldsFile:       copiedOf(fieldColumns),
	SessionsFile:     copiedOf(holdColumns),
	ReadingSealsFile: copiedOf(sealColumns),
	FieldSealsFile:   copiedOf(sealColumns),
}

// Columns are the columns of a file of the record, in the order of a new file. file is one
// of ReadingsFile, FieldsFile, SessionsFile, ReadingSealsFile and FieldSealsFile.
func Columns(file string) []string { return copiedFiles[file].Names }

// CheckRow refuses a row that the record cannot hold in a file: the error names the first
// cell that is wrong. The row has a cell for each of Columns.
func CheckRow(file string, cells []string) error {
	if err := copiedFiles[file].check(cells, func(string) (string, int) { return file, 0 }); err != nil {
		return err
	}
	return nil
}

// Rows reads a file of the record as text: a cell for each of Columns, "" for one that the
// file lacks. A row is good until the next one is read. name stands for the file in errors.
// A row that cannot be read, or is not sound, is a *RowError that ends the sequence.
func Rows(r io.Reader, file, name string) iter.Seq2[[]string, error] {
	of := copiedFiles[file]
	return func(yield func([]string, error) bool) {
		for x, err := range table.Read(r, name, cellColumns(of.Layout), nil) {
			cells := x.cells[:len(of.Names)]
			if err == nil {
				if bad := of.check(cells, func(string) (string, int) { return name, x.line }); bad != nil {
					err = bad
				}
			}
			if !yield(cells, err) || err != nil {
				return
			}
		}
	}
}

// ReadingOf is the reading that a row of ReadingsFile says, as Rows returns it; name and
// line stand for its place.
func ReadingOf(cells []string, name string, line int) (Reading, error) {
	return valueOf(readingColumns, cells, name, line)
}

// FieldOf is likewise that of a row of FieldsFile.
func FieldOf(cells []string, name string, line int) (FieldReading, error) {
	return valueOf(fieldColumns, cells, name, line)
}

func valueOf[T any](t *table.Table[T], cells []string, name string, line int) (T, error) {
	x, err := t.Parse(cells, func(string) (string, int) { return name, line })
	if err != nil {
		return x, err
	}
	return x, nil
}

// TextOf is a reading as a row of ReadingsFile.
func TextOf(r *Reading) []string { return readingColumns.Row(r) }

// OpenKept opens a file of a shop's record and tells how many of its rows are on the disk
// for certain. kept is -1 for all. While a writer is at work, or was cut short, these are
// the rows that have a seal, as a row is sealed once it is synced; of a file without seals
// none is certain then.
func OpenKept(path string) (f io.ReadCloser, kept int, err error) {
	s, err := openNow(path)
	if err != nil {
		return nil, 0, err
	}
	if !disk.BeingWritten(filepath.Dir(path)) {
		return s, -1, nil
	}
	last, err := lastSeal(sealsPath(path))
	if err != nil {
		s.Close()
		return nil, 0, err
	}
	return s, last.row, nil
}

// SealFiles are the files of seals of a file of the record, the newest last: those that
// [Writer.Seal] set aside, and the one in use.
func SealFiles(path string) ([]string, error) {
	now := sealsPath(path)
	start := strings.TrimSuffix(filepath.Base(now), ".csv") + ".until-"
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return nil, err
	}
	var stems []string
	for _, e := range entries {
		if stem, ok := strings.CutSuffix(e.Name(), ".csv"); ok && strings.HasPrefix(stem, start) {
			stems = append(stems, stem)
		}
	}
	slices.Sort(stems)
	var out []string
	for _, stem := range stems {
		out = append(out, filepath.Join(filepath.Dir(path), stem+".csv"))
	}
	if _, err := os.Stat(now); err == nil {
		out = append(out, now)
	} else if !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	return out, nil
}
