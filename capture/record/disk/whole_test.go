package disk

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// text writes a text longer than a buffer.
func text(s string) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := io.WriteString(w, strings.Repeat(s, 10000))
		return err
	}
}

// only wants one file in a folder, of one text.
func only(t *testing.T, path, s string) {
	t.Helper()
	got, err := os.ReadFile(path)
	if err != nil || string(got) != strings.Repeat(s, 10000) {
		t.Errorf("%d bytes that begin %.10q, %v", len(got), got, err)
	}
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil || len(entries) != 1 {
		t.Errorf("left behind: %v, %v", entries, err)
	}
}

func TestWriteFile(t *testing.T)  { testWrite(t, WriteFile) }
func TestWriteSpare(t *testing.T) { testWrite(t, WriteSpare) }

func testWrite(t *testing.T, write func(string, func(io.Writer) error) error) {
	path := filepath.Join(t.TempDir(), "a.txt")
	for _, s := range []string{"one\n", "two\n"} {
		if err := write(path, text(s)); err != nil {
			t.Fatal(err)
		}
		only(t, path, s)
	}
	broken := errors.New("no more to say")
	err := write(path, func(w io.Writer) error { return errors.Join(text("three")(w), broken) })
	if !errors.Is(err, broken) || errors.As(err, new(*WriteError)) {
		t.Errorf("got %v", err)
	}
	only(t, path, "two\n")
	if info, err := os.Stat(path); err != nil || info.Mode().Perm()&0o444 != 0o444 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
}

func TestWriteFileOverAFolder(t *testing.T) {
	dir := t.TempDir()
	for _, write := range []func(string, func(io.Writer) error) error{WriteFile, WriteSpare, CreateFile} {
		if err := write(dir, text("x")); err == nil || errors.As(err, new(*WriteError)) == errors.As(err, new(*FolderError)) {
			t.Errorf("got %v", err)
		}
	}
	if err := WriteFile(dir, text("x")); !errors.Is(err, syscall.EISDIR) || err.Error() != dir+": expected a file to write, got a folder" {
		t.Errorf("got %v", err)
	}
	if err := WriteFile(filepath.Join(dir, "no", "a.txt"), text("x")); !errors.Is(err, fs.ErrNotExist) || !errors.As(err, new(*WriteError)) {
		t.Errorf("no such folder: got %v", err)
	}
}

// What exists is never replaced, with links and without.
func TestCreateFile(t *testing.T) {
	noLinks := func(string, string) error { return &os.LinkError{Op: "link", Err: syscall.EPERM} }
	for name, link := range map[string]func(string, string) error{"links": os.Link, "no links": noLinks} {
		path := filepath.Join(t.TempDir(), "a.txt")
		if err := createFile(path, text("one\n"), link); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		only(t, path, "one\n")
		if err := createFile(path, text("two\n"), link); !errors.Is(err, fs.ErrExist) {
			t.Errorf("%s: there already: got %v", name, err)
		}
		only(t, path, "one\n")
		os.Remove(path)
		another := func(w io.Writer) error { // takes the name meanwhile
			return errors.Join(text("two\n")(w), os.WriteFile(path, []byte(strings.Repeat("one\n", 10000)), 0o644))
		}
		if err := createFile(path, another, link); !errors.Is(err, fs.ErrExist) {
			t.Errorf("%s: taken meanwhile: got %v", name, err)
		}
		only(t, path, "one\n")
	}
}

func TestCreateNext(t *testing.T) {
	stem := filepath.Join(t.TempDir(), "a")
	for _, want := range []string{"a.csv", "a-2.csv", "a-3.csv"} {
		path, err := CreateNext(stem, ".csv", text(want))
		if err != nil || filepath.Base(path) != want {
			t.Errorf("got %s, %v; want %s", path, err, want)
		}
	}
	if path, err := CreateNext(filepath.Join(stem+".csv", "a"), ".csv", text("x")); err == nil {
		t.Errorf("in a file as if it were a folder: got %s", path)
	}
}

// A disk that takes no more is told of by the name of the file, whatever the
// writer makes of it.
func TestWriteFileOnAFullDisk(t *testing.T) {
	if _, err := os.Stat("/dev/full"); err != nil {
		t.Skip(err)
	}
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Skip(err)
	}
	defer full.Close()
	s := &sink{file: full}
	if _, err := s.Write([]byte("x")); err == nil || s.err == nil {
		t.Errorf("a full disk took it: %v, %v", err, s.err)
	}
}

// So does what versions before this one left under other names, once nobody touches it; a
// file of a person stays.
func TestFormerLeftovers(t *testing.T) {
	dir := t.TempDir()
	old := time.Now().Add(-2 * time.Hour)
	for name, goes := range map[string]bool{
		".model-002.json-123": true, ".model-007.json-4294967295": true,
		".model-002.json-12345678901": false, ".model-002.json-": false, ".model-002.json-1a": false, ".model-002xjson-1": false,
		"model-002.json-123": false, ".a.json-123": false, ".model-002.json-124": false,
	} {
		left := filepath.Join(dir, name)
		if err := os.WriteFile(left, []byte("half"), 0o600); err != nil {
			t.Fatal(err)
		}
		if name != ".model-002.json-124" { // as one that is being written
			if err := os.Chtimes(left, old, old); err != nil {
				t.Fatal(err)
			}
		}
		if err := WriteFile(filepath.Join(dir, "model-002.json"), text("one\n")); err != nil {
			t.Fatal(err)
		}
		if _, err := os.Stat(left); goes != errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// What a killed process left goes with the next run; what another one is writing stays.
func TestLeftovers(t *testing.T) {
	dir := t.TempDir()
	path, left := filepath.Join(dir, "a.txt"), filepath.Join(dir, ".new-123")
	if err := os.WriteFile(left, []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	err := WriteFile(path, func(w io.Writer) error {
		Sweep(dir) // as another process does meanwhile
		return text("one\n")(w)
	})
	if err != nil {
		t.Fatal(err)
	}
	only(t, path, "one\n")
}
