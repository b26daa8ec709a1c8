package share

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
)

// The files of a shop's folder shared/.
const (
	settingsFile  = "share.toml"      // which bench this is, and where the shared record is
	documentsFile = "documents.jsonl" // the versions of this bench's own documents
	namesFile     = "names.csv"       // what a person decided of names
	turnFile      = ".lock"           // held while one process shares
	benchesDir    = "benches"         // a folder for each other bench: see replica

	// ConnectionFile says how the database is reached. It is for its owner alone.
	ConnectionFile = "connection"
)

// write writes a text.
func write(text string) func(io.Writer) error {
	return func(to io.Writer) error {
		_, err := io.WriteString(to, text)
		return err
	}
}

// readSmall reads a file of at most so many bytes.
func readSmall(file string, most int64) ([]byte, error) {
	f, err := disk.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, most+1))
	if err == nil && int64(len(text)) > most {
		err = &InputError{fmt.Sprintf("%s: expected at most %d KiB, got more", file, most>>10)}
	}
	return text, err
}

// cutUnended cuts off what follows the last line of a file of lines of at most MostCells
// bytes.
func cutUnended(file string) error {
	f, err := disk.OpenOwn(file, os.O_RDWR)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	size, err := f.Seek(0, io.SeekEnd)
	if err == nil {
		start := max(size-MostCells-1, 0)
		end := make([]byte, size-start)
		if _, err = f.ReadAt(end, start); err == io.EOF {
			err = nil
		}
		if whole := start + int64(bytes.LastIndexByte(end, '\n')+1); err == nil && whole < size {
			err = errors.Join(f.Truncate(whole), f.Sync())
		}
	}
	return errors.Join(err, f.Close())
}

// cutTorn cuts off a last row that has no end. Rows have line ends within quotes, so that
// the row is what is cut, and not the line.
func cutTorn(path string) error {
	f, err := disk.OpenOwn(path, os.O_RDWR)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	whole, torn, err := wholeRows(f)
	if err == nil && torn {
		err = errors.Join(f.Truncate(whole), f.Sync())
	}
	return errors.Join(err, f.Close())
}

// wholeRows is how many bytes of a CSV file without blank lines are whole rows, and whether
// more follow.
func wholeRows(r io.Reader) (size int64, torn bool, err error) {
	rows := table.NewLines(r)
	for {
		row, err := rows.Next()
		switch {
		case err == io.EOF:
			return size, false, nil
		case err != nil:
			return 0, false, err
		case !bytes.HasSuffix(row, []byte("\n")) || bytes.Count(row, []byte(`"`))%2 > 0:
			return size, true, nil
		}
		size += int64(len(row))
	}
}
