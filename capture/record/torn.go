package record

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
	"evenpole/profiles"
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
	whole, torn, err := table.FindTorn(f, path, columns)
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
	return fmt.Sprintf("%s: the last line was torn (%s) and is now in %s", path, profiles.Count(len(torn), "byte"), filepath.Base(aside)), nil
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
