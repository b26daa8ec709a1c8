package record

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
	"evenpole/profiles"
)

// RowError is a mistake in a CSV file, with its place.
type RowError = table.RowError

// Readings reads a readings file: CSV with one header row, columns by name in
// any order, of which string, core_mm, pole_height_mm, string_height_mm and
// rms_mv are required. Columns that it does not know are passed over, and an
// empty cell is as good as an absent column. name stands for the file in
// errors.
//
// A row that is wrong comes as a *RowError in place of its reading, and the
// rows after it still follow. Whatever else goes wrong ends the sequence.
func Readings(r io.Reader, name string) iter.Seq2[Reading, error] {
	return table.Read(r, name, readingColumns, readingColumns.Needed)
}

// Fields reads a file of field readings as Readings does one of readings. Of
// its columns field_mt is required.
func Fields(r io.Reader, name string) iter.Seq2[FieldReading, error] {
	return table.Read(r, name, fieldColumns, fieldColumns.Needed)
}

// Open opens a file of a shop's record for reading, as it stands now. It waits
// for no writer: while one is at work, or was cut short, what is read ends with
// the last whole line. What the shell hands over in place of a file is read as it comes.
func Open(path string) (io.ReadCloser, error) {
	if disk.HandedOver(path) {
		return disk.OpenInput(path)
	}
	return openNow(path)
}

// snapshot is a file as it stood when it was opened.
type snapshot struct {
	*io.SectionReader
	file *os.File
	torn int64 // bytes at the end that were no whole line, and are not read
}

func (s *snapshot) Close() error { return s.file.Close() }

func openNow(path string) (*snapshot, error) {
	f, err := disk.Open(path)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, err
	}
	size := info.Size()
	s := &snapshot{file: f}
	if disk.BeingWritten(filepath.Dir(path)) {
		if s.torn, err = unended(f, size); err != nil {
			f.Close()
			return nil, err
		}
	}
	s.SectionReader = io.NewSectionReader(f, 0, size-s.torn)
	return s, nil
}

// TornEnd says of a file of rows that its last line is not whole, so that what reads it goes
// without; "" where there is no file, or nothing to say.
func TornEnd(path string) string {
	f, err := openNow(path)
	if err != nil {
		return ""
	}
	defer f.Close()
	return f.tornEnd()
}

// tornEnd says that the last line is not whole; "" where it is.
func (s *snapshot) tornEnd() string {
	if s.torn == 0 {
		return ""
	}
	return fmt.Sprintf("the last line is not whole (%s): a writer is at work, or was cut short and the next capture sets it aside", profiles.Count(int(s.torn), "byte"))
}

// unended returns how many bytes follow the last end of a line.
func unended(f io.ReaderAt, size int64) (int64, error) {
	const chunk = 4096
	for end := size; end > 0 && size-end <= table.MaxRow; end -= chunk {
		start := max(end-chunk, 0)
		b := make([]byte, end-start)
		if _, err := f.ReadAt(b, start); err != nil && err != io.EOF {
			return 0, err
		}
		if i := bytes.LastIndexByte(b, '\n'); i >= 0 {
			return size - (start + int64(i) + 1), nil
		}
	}
	if size > table.MaxRow { // no row was ever that long: whoever reads it says so
		return 0, nil
	}
	return size, nil
}

// ReadFile reads the rows of a file of the shop, of which there are none when
// there is no file or nothing in it.
func ReadFile[T any](path string, rows func(io.Reader, string) iter.Seq2[T, error]) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		f, err := openNow(path)
		if errors.Is(err, fs.ErrNotExist) {
			return
		}
		if err != nil {
			var none T
			yield(none, err)
			return
		}
		defer f.Close()
		if f.Size() == 0 { // a writer was cut short before the header
			return
		}
		for x, err := range rows(f, path) {
			if !yield(x, err) {
				return
			}
		}
	}
}

// scan reads a file of rows as text. Where a line is no row, row is nil and bad says
// why. A row is good until the next one is read; at tells where its cells are.
func scan(r io.Reader, name string, l *table.Layout, do func(row table.Row, at table.Place, bad *RowError)) error {
	t, err := table.Open(r, name, l, nil)
	if err != nil {
		return err
	}
	at := table.Place(t.Place)
	for {
		row, err := t.Next()
		var bad *RowError
		switch {
		case err == io.EOF:
			return nil
		case err != nil && !errors.As(err, &bad):
			return err
		}
		do(row, at, bad)
	}
}

// scanFile scans a file that may not be there, or may have nothing in it.
func scanFile(path string, l *table.Layout, do func(table.Row, table.Place, *RowError)) error {
	return withRows(path, func(f *snapshot) error { return scan(f, path, l, do) })
}

// withRows does something with a file as it stands, unless it is not there or has nothing
// in it, as a writer was cut short before the header.
func withRows(path string, do func(*snapshot) error) error {
	f, err := openNow(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer f.Close()
	if f.Size() == 0 {
		return nil
	}
	return do(f)
}
