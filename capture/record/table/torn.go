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
	return findTorn(f, name, columns, blockSize)
}

// findTorn is FindTorn, which goes over blocks of some size.
func findTorn(f io.ReadSeeker, name string, columns []string, size int) (whole int64, torn []byte, err error) {
	header, start, bad, err := lastRecord(f, name, size)
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
// whether that is bad. A byte order mark goes with the header, which starts at 0. name
// stands for the file in errors. Blocks of rows, of some size, are gone over without a
// look at the rows; none where the size is 0.
func lastRecord(f io.ReadSeeker, name string, size int) (header []string, start int64, bad bool, err error) {
	rows, base := NewCSV(f)
	row, err := rows.Read()
	if err == io.EOF {
		return nil, 0, false, nil
	}
	if bad = err != nil; bad && !isParseError(err) {
		return nil, 0, false, Explain(err, name, 0)
	}
	if !bad && size > 0 {
		width := rows.FieldsPerRecord
		if base, err = skipSound(f, base+rows.InputOffset(), size); err != nil {
			return nil, 0, false, Explain(err, name, 0)
		}
		rows = csv.NewReader(newBounds(f))
		rows.FieldsPerRecord, rows.ReuseRecord = width, true
	}
	for header = Trimmed(row); ; {
		before := rows.InputOffset()
		_, err := rows.Read()
		switch {
		case err == io.EOF:
			return header, start, bad, nil
		case err != nil && !isParseError(err) && size > 0: // for the line
			if _, err := f.Seek(0, io.SeekStart); err != nil {
				return nil, 0, false, err
			}
			return lastRecord(f, name, 0)
		case err != nil && !isParseError(err):
			return nil, 0, false, Explain(err, name, 0)
		}
		start, bad = base+before, err != nil
	}
}

// isParseError reports whether package csv goes on after an error.
func isParseError(err error) bool {
	var pe *csv.ParseError
	return errors.As(err, &pe)
}

// skipSound goes on in a file, of which a row starts at from, to where the last block
// starts of those that are sound, and returns where that is.
func skipSound(f io.ReadSeeker, from int64, size int) (int64, error) {
	if _, err := f.Seek(from, io.SeekStart); err != nil {
		return 0, err
	}
	c := &cutter{r: f, size: size}
	last, next := from, from
	for text, _, ok := c.next(nil); ok && sound(text); text, _, ok = c.next(text) {
		last, next = next, next+int64(len(text))
	}
	_, err := f.Seek(last, io.SeekStart)
	return last, err
}

// sound reports whether a block is what it seems to be, rows that end with lines: none is
// blank or too large, and no quotes are astray.
func sound(text []byte) bool {
	if blankLine(text) > 0 || bytes.Contains(text, []byte("\n\n")) || bytes.Contains(text, []byte("\n\r\n")) {
		return false
	}
	for rest := text; len(rest) > 0; {
		n := bytes.IndexByte(rest, '\n') + 1
		if n > maxCells {
			return false
		}
		rest = rest[n:]
	}
	if bytes.IndexByte(text, '"') < 0 {
		return true
	}
	rows := csv.NewReader(bytes.NewReader(text))
	rows.FieldsPerRecord, rows.ReuseRecord = -1, true
	for {
		if _, err := rows.Read(); err != nil {
			return err == io.EOF
		}
	}
}

func hasAll(header, columns []string) bool {
	return !slices.ContainsFunc(columns, func(name string) bool { return !slices.Contains(header, name) })
}
