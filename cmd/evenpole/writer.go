package main

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"syscall"

	"evenpole/capture/record"
	"evenpole/capture/record/disk"
)

// withWriter does what needs the shop to itself. Once begun it comes to its end: half
// of the rows of an import would be hard to tell from all of them.
func (e *env) withWriter(do func(*record.Writer) error) error {
	defer disk.Hold()()
	s, err := e.theShop()
	if err != nil {
		return err
	}
	w, err := openWriter(s.Dir())
	if err != nil {
		return err
	}
	e.warn(w.Notices)
	err = do(w)
	return closeWriter(w, withHint(err, diskHint(err)...))
}

// closeWriter lets go of the record after err, which may be nil, and adds to it when
// rows may not all be sealed on the disk.
func closeWriter(w *record.Writer, err error) error {
	closing := w.Close()
	switch {
	case closing == nil:
		return err
	case err != nil:
		closing = fmt.Errorf("%w; and when the record was closed: %w", err, closing)
	}
	return withHint(closing, diskHint(closing)...)
}

// openWriter opens a shop for writing.
func openWriter(dir string) (*record.Writer, error) {
	w, err := record.OpenWriter(dir)
	return w, withHint(err, openHint(err, dir)...)
}

// openHint says what to do when a shop cannot be written to now.
func openHint(err error, dir string) []string {
	switch {
	case errors.Is(err, disk.ErrInUse):
		return []string{fmt.Sprintf("one process writes to %s at a time: let that one end, then run the same command again", dir)}
	case errors.Is(err, disk.ErrNoLocks):
		return []string{fmt.Sprintf("copy %s to a disk of this machine and go on with that copy; a share may hold copies, made while no command writes", dir)}
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		return []string{fmt.Sprintf("nothing can be written to %s: allow it, or name another folder with --shop", dir)}
	}
	return diskHint(err)
}

// diskHint says what to do when the disk did not take a row.
func diskHint(err error) []string {
	w := (*disk.WriteError)(nil)
	switch {
	case !errors.As(err, &w):
		return nil
	case errors.Is(err, disk.ErrMoved):
		return []string{"what was kept is in the file that was there: put it back, then run the same command again"}
	}
	return []string{fmt.Sprintf("the disk did not take it: make room where %s is, or mend what is wrong there, and run the same command again", filepath.Dir(w.Path))}
}
