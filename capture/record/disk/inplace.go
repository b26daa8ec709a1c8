package disk

import (
	"errors"
	"os"
)

// ErrMoved says that a file of the record is no longer where it was when the
// capture opened it: somebody has moved, deleted or replaced it meanwhile.
var ErrMoved = errors.New("was moved, deleted or replaced during the capture")

// inPlace is a file that counts as synced only while its path still leads to
// it. A row written to a file that has lost its name is nowhere to be found.
type inPlace struct {
	*os.File
}

func (f inPlace) Sync() error {
	if err := f.File.Sync(); err != nil {
		return err
	}
	ours, err := f.Stat()
	if err != nil {
		return err
	}
	if named, err := os.Stat(f.Name()); err != nil || !os.SameFile(ours, named) {
		return ErrMoved
	}
	return nil
}
