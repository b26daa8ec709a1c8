package disk

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
)

// WriteError says that the disk did not take what was to be written: a row is
// not kept, though it may stand in the file.
type WriteError struct {
	Path string
	Err  error
}

// Error returns "file: why".
func (e *WriteError) Error() string {
	why := e.Err
	if path := (*fs.PathError)(nil); errors.As(why, &path) {
		why = path.Err // without the name again
	}
	return fmt.Sprintf("%s: %v", e.Path, why)
}

// Unwrap returns what the system had to say.
func (e *WriteError) Unwrap() error { return e.Err }

// An appender is what is needed of a file that only grows.
type Appender interface {
	io.WriteCloser
	Sync() error
}

// OpenAppend opens a file for appending, and makes it if there is none. It follows no
// link, and a *KindError says that the name is no plain file's.
func OpenAppend(path string) (Appender, error) {
	f, err := OpenOwn(path, os.O_WRONLY|os.O_APPEND|os.O_CREATE)
	if err != nil {
		return nil, err
	}
	return newInPlace(f)
}

// Append adds text to a file, which is made if there is none, and makes it last, with the
// file's name. No text makes no file.
func Append(path string, text []byte) error {
	if len(text) == 0 {
		return nil
	}
	defer Hold()()
	f, err := OpenAppend(path)
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return &WriteError{Path: path, Err: err}
	}
	return SyncDir(filepath.Dir(path))
}

// MakeDir makes a folder and those above it, each of which lasts.
func MakeDir(dir string) error {
	err := os.Mkdir(dir, 0o755)
	parent := filepath.Dir(dir)
	if errors.Is(err, fs.ErrNotExist) && parent != dir {
		if err := MakeDir(parent); err != nil {
			return err
		}
		err = os.Mkdir(dir, 0o755)
	}
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return SyncDir(parent)
}

// SyncDir makes the names in a folder last. Windows has no call for that.
func SyncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}
