package record

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
)

// setTornAside moves a torn last line of a CSV file into a file beside it, and returns
// a notice of that, "" where nothing was torn. A line is torn when it has no end, or
// when it is no row of the header's width: a power cut leaves either. A last line that
// is whole but wrong was written by a person; it stays where it is, and whoever reads
// the file gets the error. A file whose header lacks one of the columns stays as it
// is, too. If asSealed, which may be nil, reports that the last row is the one that was
// sealed last, the row is whole: an editor took the end of its line, and it gets one.
func setTornAside(path string, columns []string, asSealed func(path string) bool, now time.Time) (notice string, err error) {
	f, err := disk.OpenOwn(path, os.O_RDWR)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	whole, torn, err := findTorn(f, path, columns)
	if err != nil || len(torn) == 0 {
		return "", err
	}
	if whole > 0 && asSealed != nil && asSealed(path) {
		return "", endLine(f)
	}
	aside, err := disk.CreateNext(stamped(path, "torn", now), ".csv", func(to io.Writer) error {
		_, err := to.Write(torn)
		return err
	})
	if err != nil {
		return "", err
	}
	if err := errors.Join(f.Truncate(whole), f.Sync()); err != nil {
		return "", err
	}
	return fmt.Sprintf("%s: the last line was torn (%d bytes) and is now in %s", path, len(torn), filepath.Base(aside)), nil
}

// endLine ends the last line of a file.
func endLine(f *os.File) error {
	size, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		return err
	}
	_, err = f.WriteAt([]byte("\n"), size)
	return errors.Join(err, f.Sync())
}

// findTorn returns how many bytes of a CSV file are whole rows, and what comes
// after them. At most one line is torn: an open quote further up is a mistake of
// another kind, as are lines that end in CR alone.
func findTorn(f io.ReadSeeker, name string, columns []string) (whole int64, torn []byte, err error) {
	header, start, bad, err := lastRecord(f, name)
	if err != nil || start > 0 && !hasAll(header, columns) {
		return 0, nil, err
	}
	if _, err := f.Seek(start, io.SeekStart); err != nil {
		return 0, nil, err
	}
	last, err := io.ReadAll(f)
	if err != nil {
		return 0, nil, err
	}
	line, ended := bytes.CutSuffix(last, []byte("\n"))
	line = bytes.TrimRight(line, "\x00") // a power cut may leave the length of a text without the text
	if ended && !bad || bytes.ContainsAny(bytes.TrimSuffix(line, []byte("\r")), "\r\n") {
		return start, nil, nil
	}
	return start, last, nil
}

// lastRecord returns the header of a CSV file, where its last record starts, and
// whether that is bad. name stands for the file in errors.
func lastRecord(f io.Reader, name string) (header []string, start int64, bad bool, err error) {
	r, skipped := table.NewCSV(f)
	for {
		before := r.InputOffset()
		row, err := r.Read()
		var pe *csv.ParseError
		switch {
		case err == io.EOF && start == 0: // a byte order mark goes with the header
			return header, 0, bad, nil
		case err == io.EOF:
			return header, start + skipped, bad, nil
		case err != nil && !errors.As(err, &pe):
			return nil, 0, false, table.Explain(err, name, 0)
		}
		if before == 0 {
			header = table.Trimmed(row)
			r.ReuseRecord = true
		}
		start, bad = before, err != nil
	}
}

func hasAll(header, columns []string) bool {
	return !slices.ContainsFunc(columns, func(name string) bool { return !slices.Contains(header, name) })
}
