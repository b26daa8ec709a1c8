package disk

import (
	"errors"
	"os"
)

// ErrMoved says that a file of the record is no longer where it was when the
// capture opened it: somebody has moved, deleted or replaced it meanwhile.
var ErrMoved = errors.New("was moved, deleted or replaced during the capture")

// ErrCut says that a file of the record is shorter than it was: somebody has cut it
// meanwhile, and rows that were kept are gone. It is an ErrMoved, too.
var ErrCut error = cutError{}

type cutError struct{}

func (cutError) Error() string {
	return "was cut short during the capture: rows that were kept are gone"
}

func (cutError) Is(other error) bool { return other == ErrMoved }

// inPlace is a file that counts as synced only while its path still leads to
// it, and while all is there that was written. A row written to a file that has lost
// its name is nowhere to be found.
type inPlace struct {
	*os.File
	size int64 // the least that it can have
}

func newInPlace(f *os.File) (*inPlace, error) {
	info, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, err
	}
	return &inPlace{f, info.Size()}, nil
}

func (f *inPlace) Write(text []byte) (int, error) {
	n, err := f.File.Write(text)
	f.size += int64(n)
	return n, err
}

func (f *inPlace) Sync() error {
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
	if ours.Size() < f.size {
		return ErrCut
	}
	return nil
}
