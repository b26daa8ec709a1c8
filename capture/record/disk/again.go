package disk

import (
	"errors"
	"io"
	"io/fs"
	"os"
)

// OpenRepeatedly opens what a person names as input, to be read more than once. What
// comes through a pipe is first copied into a file, which goes when it is closed. Other
// devices are refused with a *KindError.
func OpenRepeatedly(path string) (io.ReadSeekCloser, error) {
	if info, err := os.Stat(path); err != nil || info.Mode()&fs.ModeNamedPipe == 0 && !HandedOver(path) {
		return Open(path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return copied(f)
}

// passing is a file that goes when it is closed.
type passing struct{ *os.File }

func (p passing) Close() error {
	err := p.File.Close()
	if gone := os.Remove(p.Name()); err == nil && !errors.Is(gone, fs.ErrNotExist) {
		err = gone
	}
	return err
}

// copied is a copy of what can be read once. It has no name where the system allows that,
// so that it goes with the process, too.
func copied(r io.Reader) (io.ReadSeekCloser, error) {
	f, err := os.CreateTemp("", "evenpole-*")
	if err != nil {
		return nil, err
	}
	_ = os.Remove(f.Name()) // where it is refused, Close does it
	_, err = io.Copy(f, r)
	if err == nil {
		_, err = f.Seek(0, io.SeekStart)
	}
	if err != nil {
		return nil, errors.Join(&WriteError{f.Name(), err}, passing{f}.Close())
	}
	return passing{f}, nil
}
