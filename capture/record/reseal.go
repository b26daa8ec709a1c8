package record

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"time"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
	"evenpole/profiles"
)

// Seal seals the whole record as it stands, with a remark, and sets the seals
// that there were aside, into a file beside the record. It tells what it did,
// for people. What Verify tells of the rows until now it does not tell again: ask it
// first.
func (s *Writer) Seal(now time.Time) (notices []string, err error) {
	for _, seal := range []func(time.Time) (string, error){s.readings.sealAnew, s.fields.sealAnew} {
		notice, err := seal(now)
		if err != nil {
			return notices, err
		}
		if notice != "" {
			notices = append(notices, notice)
		}
	}
	return notices, nil
}

func (l *ledger) sealAnew(now time.Time) (notice string, err error) {
	if err := l.seals.close(); err != nil {
		return "", err
	}
	path := sealsPath(l.path)
	rows, aside := 0, ""
	err = disk.WriteFile(path, func(to io.Writer) (err error) {
		if rows, err = writeSeals(to, l.path, l.layout); err != nil {
			return err
		}
		if rows == 0 {
			return errNoRows
		}
		aside, err = setAside(path, now)
		return err
	})
	if errors.Is(err, errNoRows) {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	notice = fmt.Sprintf("%s: %s sealed as they stand", l.path, profiles.Count(rows, "row"))
	if aside != "" {
		notice += "; the seals until now are in " + filepath.Base(aside)
	}
	l.seals, err = openSealer(l.path, l.layout, foundLater, l.create)
	return notice, err
}

// errNoRows says that there is nothing to seal.
var errNoRows = errors.New("the record has no rows")

// setAside copies a file of seals to a new one beside it, and returns its name;
// "" where there are no seals.
func setAside(path string, now time.Time) (aside string, err error) {
	f, err := disk.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	defer f.Close()
	return disk.CreateNext(stamped(path, "until", now), ".csv", func(to io.Writer) error {
		_, err := f.Seek(0, io.SeekStart) // it may be asked for again, under another name
		if err == nil {
			_, err = io.Copy(to, f)
		}
		return err
	})
}

// writeSeals writes seals for a whole record, and counts its rows.
func writeSeals(to io.Writer, record string, columns *table.Layout) (rows int, err error) {
	w := table.NewWriter(to, false)
	last := seal{}
	err = errors.Join(w.Write(sealColumns.Names), withRows(record, func(f *snapshot) error {
		if _, err := table.Open(io.NewSectionReader(f, 0, f.Size()), record, columns, nil); err != nil {
			return err
		}
		for row, err := range digestRows(f, record, columns) {
			if err != nil {
				return err
			}
			last = seal{row: last.row + 1, digest: string(row.digest[:]), remark: accepted}.after(last)
			if err := w.Write(sealColumns.Row(&last)); err != nil {
				return err
			}
		}
		return nil
	}))
	return last.row, errors.Join(err, w.Flush())
}
