package record

import (
	"bufio"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
)

// Seal seals the whole record as it stands, with a remark, and sets the seals
// that there were aside, into a file beside the record. It tells what it did,
// for people. What Verify tells of the rows until now
// it will not tell again.
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
	rows, err := writeSeals(l.path, l.layout, path+".new")
	if rows == 0 || err != nil {
		return "", err
	}
	notice = fmt.Sprintf("%s: %d rows sealed as they stand", l.path, rows)
	aside := strings.TrimSuffix(path, ".csv") + ".until-" + now.UTC().Format("20060102T150405.000Z") + ".csv"
	switch err := os.Rename(path, aside); {
	case err == nil:
		notice += "; the seals until now are in " + filepath.Base(aside)
	case !errors.Is(err, fs.ErrNotExist):
		return "", err
	}
	if err := os.Rename(path+".new", path); err != nil {
		return "", err
	}
	if err := disk.SyncDir(filepath.Dir(path)); err != nil {
		return "", err
	}
	l.seals, err = openSealer(l.path, l.layout, foundLater, l.create)
	return notice, err
}

// writeSeals writes a new file of seals for a whole record; none when the record
// has no rows.
func writeSeals(record string, columns *table.Layout, path string) (rows int, err error) {
	f, err := os.Create(path)
	if err != nil {
		return 0, err
	}
	b := bufio.NewWriter(f)
	err = table.WriteLines(b, false, sealColumns.Names)
	last := seal{}
	scanned := scanFile(record, columns, func(row table.Row, _ table.Place, _ *RowError) {
		last = seal{row: last.row + 1, digest: digestOf(columns, row), remark: accepted}.after(last)
		err = errors.Join(err, table.WriteLines(b, false, sealColumns.Row(&last)))
	})
	err = errors.Join(err, scanned, b.Flush(), f.Sync(), f.Close())
	if err != nil || last.row == 0 {
		os.Remove(path)
	}
	return last.row, err
}
