//go:build linux || darwin

package disk

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
)

// inTheWay are things that are no plain file of the shop, made under a name.
var inTheWay = map[string]func(path, target string) error{
	"a link":                 func(path, target string) error { return os.Symlink(target, path) },
	"a link to what is not":  func(path, target string) error { return os.Symlink(target+"-not-there", path) },
	"a pipe":                 func(path, _ string) error { return syscall.Mkfifo(path, 0o644) },
	"a folder":               func(path, _ string) error { return os.Mkdir(path, 0o755) },
	"another name of a file": func(path, target string) error { return os.Link(target, path) },
}

// Whatever stands under the names of a shop's files, what it leads to stays as it is.
func TestWhatIsNoPlainFile(t *testing.T) {
	for what, makeIt := range inTheWay {
		t.Run(what, func(t *testing.T) {
			root := t.TempDir()
			target, dir := filepath.Join(root, "mine.txt"), filepath.Join(root, "shop")
			if err := errors.Join(os.WriteFile(target, []byte("mine"), 0o644), os.Mkdir(dir, 0o755)); err != nil {
				t.Fatal(err)
			}
			path := filepath.Join(dir, LockFile)
			if err := makeIt(path, target); err != nil {
				t.Fatal(err)
			}
			if l, notice, err := TakeLock(dir); err == nil {
				t.Errorf("taken as a lock: %q", notice)
				l.LetGo()
			}
			if what != "another name of a file" {
				var kind *KindError
				if _, err := OpenAppend(path); !errors.As(err, &kind) {
					t.Errorf("opened to append: %v", err)
				}
			}
			if text, err := os.ReadFile(target); err != nil || string(text) != "mine" {
				t.Errorf("the target is now %q, %v", text, err)
			}
			if _, err := os.Lstat(target + "-not-there"); err == nil {
				t.Error("the target was made")
			}
		})
	}
}

// What comes through a pipe, named or handed over, can be read more than once, and its
// copy leaves no name behind.
func TestOpenRepeatedly(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	named := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(named, 0o644); err != nil {
		t.Fatal(err)
	}
	const text = "string,rms_mv\n"
	go func() {
		w.WriteString(text)
		w.Close()
		os.WriteFile(named, []byte(text), 0)
	}()
	for _, path := range []string{filepath.Join("/dev/fd", strconv.FormatUint(uint64(r.Fd()), 10)), named} {
		f, err := OpenRepeatedly(path)
		if err != nil {
			t.Fatal(err)
		}
		for range 2 {
			got, err := io.ReadAll(f)
			if _, again := f.Seek(0, io.SeekStart); err != nil || again != nil || string(got) != text {
				t.Errorf("%s: %q, %v, %v", path, got, err, again)
			}
		}
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	}
	if left, err := os.ReadDir(os.TempDir()); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
	var kind *KindError
	if _, err := OpenRepeatedly("/dev/zero"); !errors.As(err, &kind) {
		t.Errorf("a device: %v", err)
	}
	if _, err := OpenRepeatedly(named + "-not-there"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
}

func TestOpenWaitsForNobody(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(path, 0o644); err != nil {
		t.Fatal(err)
	}
	var kind *KindError
	if _, err := Open(path); !errors.As(err, &kind) || err.Error() != path+": expected a plain file, got a pipe" {
		t.Errorf("got %v", err)
	}
}
