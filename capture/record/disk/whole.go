package disk

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"syscall"
	"time"
)

// FolderError says that a folder stands where a file was to be written.
type FolderError struct{ Path string }

// Error returns "path: what was expected".
func (e *FolderError) Error() string {
	return e.Path + ": expected a file to write, got a folder"
}

// Unwrap returns what the system calls it.
func (e *FolderError) Unwrap() error { return syscall.EISDIR }

// WriteFile writes a file that lasts. It has its name only once it is whole, and
// takes the place of a file of that name. Its folder must be there.
//
// Errors: a *FolderError where a folder has the name; what write returns, as it
// is; a *WriteError when the disk does not take it. Nothing is left behind then,
// and the file that was there stays, unless it was the folder that could not be
// synced: the new file has the name then, and may lose it in a power cut.
func WriteFile(path string, write func(io.Writer) error) error {
	defer Hold()()
	if err := replace(path, write, (*os.File).Sync); err != nil {
		return err
	}
	if err := SyncDir(filepath.Dir(path)); err != nil {
		return &WriteError{path, err}
	}
	return nil
}

// WriteSpare is WriteFile for a file that need not last, as it is made again where it is
// gone: nobody waits for the disk. Other programs see it whole, or the one that was there;
// what a power cut leaves of it may be anything, so that it has to tell by itself whether
// it is whole.
func WriteSpare(path string, write func(io.Writer) error) error {
	defer Hold()()
	return replace(path, write, func(*os.File) error { return nil })
}

// replace writes a file and gives it its name.
func replace(path string, write func(io.Writer) error, sync func(*os.File) error) error {
	temp, err := writeTemp(path, write, sync)
	if err != nil {
		return err
	}
	defer temp.Close()
	if err := os.Rename(temp.Name(), path); err != nil {
		os.Remove(temp.Name())
		return &WriteError{path, err}
	}
	return nil
}

// CreateFile is WriteFile for a file that must not be there yet: a *WriteError
// that wraps fs.ErrExist says that it is, and it stays as it was, whoever made it
// and when.
func CreateFile(path string, write func(io.Writer) error) error {
	return createFile(path, write, os.Link)
}

// CreateNext is CreateFile under the first name that nothing has: stem and ext,
// then stem-2 and ext, and so on. It returns the name.
func CreateNext(stem, ext string, write func(io.Writer) error) (path string, err error) {
	path = stem + ext
	for n := 2; ; n++ {
		if err := CreateFile(path, write); !errors.Is(err, fs.ErrExist) {
			return path, err
		}
		path = fmt.Sprintf("%s-%d%s", stem, n, ext)
	}
}

// createFile is CreateFile with what gives a file a second name.
func createFile(path string, write func(io.Writer) error, link func(old, name string) error) error {
	defer Hold()()
	if _, err := os.Lstat(path); err == nil {
		return &WriteError{path, fs.ErrExist}
	}
	temp, err := writeTemp(path, write, (*os.File).Sync)
	if err != nil {
		return err
	}
	defer temp.Close()
	if err := nameNew(temp.Name(), path, link); err != nil {
		os.Remove(temp.Name())
		return &WriteError{path, err}
	}
	if err := SyncDir(filepath.Dir(path)); err != nil {
		os.Remove(path)
		return &WriteError{path, err}
	}
	return nil
}

// nameNew gives a file a name that none may have. Where the file system has no
// links, the name is first taken with an empty file, which the rename replaces.
func nameNew(temp, path string, link func(old, name string) error) error {
	switch err := link(temp, path); {
	case err == nil:
		return os.Remove(temp)
	case errors.Is(err, fs.ErrExist):
		return fs.ErrExist
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return fs.ErrExist
	}
	if err != nil {
		return err
	}
	if err := errors.Join(f.Close(), os.Rename(temp, path)); err != nil {
		os.Remove(path)
		return err
	}
	return nil
}

// tempStart is how the names of files begin that are not whole yet.
const tempStart = ".new-"

// createTemp makes a file under a name of its own, which begins with a dot. It is
// locked, so that Sweep leaves it where it is.
func createTemp(dir string) (*os.File, error) {
	for {
		f, err := os.CreateTemp(dir, tempStart+"*")
		if err != nil {
			return nil, err
		}
		free, err := tryLock(f)
		if err != nil { // no locks here: Sweep removes nothing, either
			return f, nil
		}
		if free && stillNamed(f, f.Name()) == nil {
			return f, nil
		}
		f.Close() // swept away before it was locked
	}
}

// Sweep removes what processes left in a folder that were killed while they wrote a
// whole file there.
func Sweep(dir string) {
	entries, _ := os.ReadDir(dir) // a folder that cannot be read has nothing to sweep
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), tempStart) && e.Type().IsRegular() {
			sweep(filepath.Join(dir, e.Name()))
		}
	}
}

// sweepFormer removes what earlier versions left likewise beside a file: ".", its
// name with other digits or the same, "-" and the digits that [os.CreateTemp] adds. They
// locked nothing: only what nobody has touched for an hour goes.
func sweepFormer(path string) {
	dir, base := filepath.Split(path)
	entries, _ := os.ReadDir(cmp.Or(dir, "."))
	former := formerTemp(base)
	for _, e := range entries {
		if !former.MatchString(e.Name()) {
			continue
		}
		if info, err := e.Info(); err == nil && info.Mode().IsRegular() && time.Since(info.ModTime()) > time.Hour {
			sweep(filepath.Join(dir, e.Name()))
		}
	}
}

var digits = regexp.MustCompile("[0-9]+")

func formerTemp(base string) *regexp.Regexp {
	return regexp.MustCompile(`^\.` + digits.ReplaceAllString(regexp.QuoteMeta(base), "[0-9]+") + `-[0-9]{1,10}$`)
}

func sweep(temp string) {
	f, err := OpenOwn(temp, os.O_RDWR)
	if err != nil {
		return
	}
	free, err := tryLock(f)
	if runtime.GOOS == "windows" { // has no name taken away from an open file
		f.Close()
	}
	if free && err == nil {
		os.Remove(temp)
	}
	f.Close()
}

// writeTemp writes a file beside path and has sync make it last, under a name that is its own for as
// long as the file is open. On Windows, where an open file is not renamed, it is closed.
func writeTemp(path string, write func(io.Writer) error, sync func(*os.File) error) (temp *os.File, err error) {
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return nil, &FolderError{path}
	}
	Sweep(filepath.Dir(path))
	sweepFormer(path)
	f, err := createTemp(filepath.Dir(path))
	if err != nil {
		return nil, &WriteError{path, err}
	}
	to := &sink{file: f}
	b := bufio.NewWriter(to)
	err = write(b)
	if err == nil {
		err = b.Flush()
	}
	if to.err != nil { // whatever write made of it
		err = &WriteError{path, to.err}
	}
	if err == nil {
		if err = errors.Join(f.Chmod(0o644), sync(f)); err != nil {
			err = &WriteError{path, err}
		}
	}
	if err != nil || runtime.GOOS == "windows" {
		if closed := f.Close(); err == nil && closed != nil {
			err = &WriteError{path, closed}
		}
	}
	if err != nil {
		os.Remove(f.Name())
		return nil, err
	}
	return f, nil
}

// sink remembers why a file took no more.
type sink struct {
	file *os.File
	err  error
}

func (s *sink) Write(text []byte) (int, error) {
	n, err := s.file.Write(text)
	if err != nil {
		s.err = err
	}
	return n, err
}
