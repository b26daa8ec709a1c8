package capture

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// mend sets a torn last line of a CSV file aside, into a file beside it, and
// tells what it did. A line is torn when it has no end, or when it is no row of
// the header's width: a power cut leaves either. A last line that is whole but
// wrong is a person's and stays where it is, for the reader to complain of.
func mend(path string, now time.Time) (notice string, err error) {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	defer f.Close()
	whole, torn, err := findTorn(f)
	if err != nil || len(torn) == 0 {
		return "", err
	}
	aside := tornName(path, now)
	if err := createFile(aside, torn); err != nil {
		return "", err
	}
	if err := errors.Join(f.Truncate(whole), f.Sync()); err != nil {
		return "", err
	}
	return fmt.Sprintf("%s: the last line was torn (%d bytes) and is now in %s", path, len(torn), filepath.Base(aside)), nil
}

// tornName is a name that nothing has yet: a clock may show the same time twice.
func tornName(path string, now time.Time) string {
	stem := strings.TrimSuffix(path, ".csv") + ".torn-" + now.UTC().Format("20060102T150405.000Z")
	name := stem + ".csv"
	for n := 2; ; n++ {
		if _, err := os.Lstat(name); err != nil {
			return name
		}
		name = fmt.Sprintf("%s-%d.csv", stem, n)
	}
}

// findTorn returns how many bytes of a CSV file are whole rows, and what comes
// after them. It never takes more than one line for torn: an open quote further
// up is a mistake of another kind.
func findTorn(f io.ReadSeeker) (whole int64, torn []byte, err error) {
	start, bad, err := lastRecord(f)
	if err != nil {
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
	if ended && !bad || bytes.Contains(line, []byte("\n")) {
		return start, nil, nil
	}
	return start, last, nil
}

// lastRecord returns where the last record of a CSV file starts, and whether it
// is bad.
func lastRecord(f io.Reader) (start int64, bad bool, err error) {
	r, skipped := newCSVReader(f)
	r.ReuseRecord = true
	for {
		before := r.InputOffset()
		_, err := r.Read()
		var pe *csv.ParseError
		switch {
		case err == io.EOF && start == 0: // a byte order mark goes with the header
			return 0, bad, nil
		case err == io.EOF:
			return start + skipped, bad, nil
		case err != nil && !errors.As(err, &pe):
			return 0, false, err
		}
		start, bad = before, err != nil
	}
}
