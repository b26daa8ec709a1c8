package table

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"slices"
)

// FindTorn returns how many bytes of a CSV file are whole rows, and what comes
// after them. At most one line is torn: an open quote further up is a mistake of
// another kind, as are lines that end in CR alone.
func FindTorn(f io.ReadSeeker, name string, columns []string) (whole int64, torn []byte, err error) {
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
	r, skipped := NewCSV(f)
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
			return nil, 0, false, Explain(err, name, 0)
		}
		if before == 0 {
			header = Trimmed(row)
			r.ReuseRecord = true
		}
		start, bad = before, err != nil
	}
}

func hasAll(header, columns []string) bool {
	return !slices.ContainsFunc(columns, func(name string) bool { return !slices.Contains(header, name) })
}
