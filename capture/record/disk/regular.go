package disk

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// A KindError says that something else than a plain file stands where a file of a shop
// is read or written: a link, a pipe, a device. A shop that came from someone else may
// have one; what is written to it would go elsewhere, and reading it may never end.
type KindError struct {
	Path string
	Mode fs.FileMode
}

// Error returns "path: what was expected and what was found".
func (e *KindError) Error() string {
	what := "a device"
	switch {
	case e.Mode.IsDir():
		what = "a folder"
	case e.Mode&fs.ModeSymlink != 0:
		what = "a link"
	case e.Mode&fs.ModeNamedPipe != 0:
		what = "a pipe"
	case e.Mode&fs.ModeSocket != 0:
		what = "a socket"
	}
	return fmt.Sprintf("%s: expected a plain file, got %s", e.Path, what)
}

// Open opens a file for reading that must be a plain one, or a link to one. It waits
// for nobody.
func Open(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|nonBlocking, 0)
	if err != nil {
		return nil, err
	}
	return f, plain(f, path)
}

// ReadFile reads a file whole that Open opens.
func ReadFile(path string) ([]byte, error) { return readAll(Open(path)) }

// Matching are the paths of a folder's entries whose names match a pattern of
// [filepath.Match], in the order of their names; none where there is no such folder. The
// folder's own name is taken as it is, brackets and stars in it too, as [filepath.Glob]
// would not.
func Matching(dir, pattern string) ([]string, error) {
	if info, err := os.Stat(dir); errors.Is(err, fs.ErrNotExist) || err == nil && !info.IsDir() {
		return nil, nil
	}
	entries, err := os.ReadDir(dir)
	var paths []string
	for _, entry := range entries {
		match, wrong := filepath.Match(pattern, entry.Name())
		if wrong != nil {
			return nil, wrong
		}
		if match {
			paths = append(paths, filepath.Join(dir, entry.Name()))
		}
	}
	return paths, err
}

// OpenInput opens for reading what a person names as input: a plain file, as Open does,
// or what the shell hands over in place of one, see [HandedOver]. A shop that came from
// someone else cannot name the latter.
func OpenInput(path string) (*os.File, error) {
	if HandedOver(path) {
		return os.Open(path)
	}
	return Open(path)
}

// ReadInput reads whole what OpenInput opens.
func ReadInput(path string) ([]byte, error) { return readAll(OpenInput(path)) }

func readAll(f *os.File, err error) ([]byte, error) {
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var b bytes.Buffer
	if info, err := f.Stat(); err == nil && info.Mode().IsRegular() { // in one piece of memory
		b.Grow(int(min(info.Size(), mostGrown)) + bytes.MinRead)
	}
	_, err = b.ReadFrom(f)
	return b.Bytes(), err
}

// mostGrown is as much memory as is asked for before a file shows that it has as much.
const mostGrown = 1 << 28

// HandedOver reports whether a path names a file that this process was started with,
// as /dev/stdin and the /dev/fd/63 that a shell puts for <(zcat readings.csv.gz) do. It
// may be a pipe, and then is read once.
func HandedOver(path string) bool {
	path = filepath.ToSlash(path)
	for _, dir := range []string{"/dev/fd/", "/proc/self/fd/"} {
		if number, ok := strings.CutPrefix(path, dir); ok && number != "" && strings.Trim(number, "0123456789") == "" {
			return true
		}
	}
	return path == "/dev/stdin"
}

// plain closes a file that is no plain one.
func plain(f *os.File, path string) error {
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = &KindError{path, info.Mode()}
	}
	if err != nil {
		f.Close()
	}
	return err
}

// OpenOwn opens a file of a shop for writing. It must be a plain file; a link is not
// followed. With os.O_CREATE a file that is not there is made.
func OpenOwn(path string, flag int) (*os.File, error) {
	for range 2 {
		f, err := openThere(path, flag&^os.O_CREATE)
		if flag&os.O_CREATE == 0 || !errors.Is(err, fs.ErrNotExist) {
			return f, err
		}
		f, err = os.OpenFile(path, flag|os.O_EXCL, 0o644)
		if !errors.Is(err, fs.ErrExist) {
			return f, err
		}
	} // made by another process just now
	return openThere(path, flag&^os.O_CREATE)
}

// openThere opens a plain file that is there. What has the name is looked at before it
// is opened, which alone may wait or have effects, and compared with what was opened.
func openThere(path string, flag int) (*os.File, error) {
	named, err := os.Lstat(path)
	if err != nil {
		return nil, err
	}
	if !named.Mode().IsRegular() {
		return nil, &KindError{path, named.Mode()}
	}
	f, err := os.OpenFile(path, flag|nonBlocking|noFollow, 0)
	if err != nil {
		return nil, err
	}
	if err := plain(f, path); err != nil {
		return nil, err
	}
	if opened, err := f.Stat(); err != nil || !os.SameFile(named, opened) {
		f.Close()
		return nil, fmt.Errorf("%s: was replaced just now, try again", path)
	}
	return f, nil
}
