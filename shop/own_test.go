package shop

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
)

// shopFolder makes a folder that is a shop by its record.
func shopFolder(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "readings.csv"), []byte("precious\r\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}

// shopOf is a shop with these readings.
func shopOf(t *testing.T, readings string) *Shop {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "readings.csv"), []byte(readings), 0o666); err != nil {
		t.Fatal(err)
	}
	s, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// What belongs to a shop is not written, by whatever path and force, nor are folders
// made in its place.
func TestWhatBelongsToAShopIsNotWritten(t *testing.T) {
	dir := shopFolder(t)
	elsewhere := t.TempDir()
	link := filepath.Join(elsewhere, "link")
	if err := os.Symlink(dir, link); err != nil {
		t.Skip("no links here")
	}
	file := filepath.Join(elsewhere, "picture.svg")
	if err := os.Symlink(filepath.Join(dir, "readings.csv"), file); err != nil {
		t.Fatal(err)
	}
	s, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	outside := &Shop{}
	paths := []string{file, filepath.Join(link, "readings.csv"), dir + "/x/../readings.csv"}
	for _, name := range []string{
		"readings.csv", "Readings.CSV", "fields.csv", "sessions.csv", "readings.seals.csv", "readings.cells", "fields.torn-1.csv", "operators.csv", "writer.lock", "writer.open", "writer.open",
		"strings.toml", "new.toml", "orders/A.toml", "orders/sub/x.svg", "mounts/m.svg", "models/model-001.json", "calibrations/x.csv", "jig/a.csv",
		"certificates/0001.json", "fields.csv/x.svg",
	} {
		paths = append(paths, filepath.Join(dir, name))
	}
	for _, path := range paths {
		for _, shop := range []*Shop{s, outside} {
			err := shop.WriteFile(path, true, func(w io.Writer) error { t.Errorf("%s: written", path); return nil })
			if !errors.Is(err, ErrOwned) || !errors.As(err, new(*InputError)) {
				t.Errorf("%s: got %v", path, err)
			}
		}
	}
	if text, err := os.ReadFile(filepath.Join(dir, "readings.csv")); err != nil || string(text) != "precious\r\n" {
		t.Errorf("the record says %q, %v", text, err)
	}
	if all, _ := os.ReadDir(dir); len(all) != 1 {
		t.Errorf("folders were made: %v", all)
	}
}

// A file that is there stays, unless it says the same or the user insists.
func TestFilesAreNotReplacedUnasked(t *testing.T) {
	path := filepath.Join(shopFolder(t), "plans", "a.svg")
	s := &Shop{}
	say := func(what string) error { return s.WriteFile(path, false, text(what)) }
	if err := say("one"); err != nil {
		t.Fatal(err)
	}
	if err := say("one"); err != nil {
		t.Errorf("the same again: %v", err)
	}
	for _, other := range []string{"two", "on", "", "one more"} {
		if err := say(other); !errors.Is(err, ErrThere) || !errors.As(err, new(*InputError)) {
			t.Errorf("%q: got %v", other, err)
		}
	}
	failed := errors.New("cannot be drawn")
	if err := s.WriteFile(path, false, func(io.Writer) error { return failed }); !errors.Is(err, failed) {
		t.Errorf("got %v", err)
	}
	if now, _ := os.ReadFile(path); string(now) != "one" {
		t.Errorf("the file says %q", now)
	}
	if err := s.WriteFile(path, true, text("two")); err != nil {
		t.Error(err)
	}
	if now, _ := os.ReadFile(path); string(now) != "two" {
		t.Errorf("the file says %q", now)
	}
	dangling := filepath.Join(filepath.Dir(path), "link.svg")
	if err := os.Symlink(filepath.Join(t.TempDir(), "none"), dangling); err == nil {
		if err := s.WriteFile(dangling, false, text("x")); !errors.Is(err, ErrThere) {
			t.Errorf("a link that leads nowhere: got %v", err)
		}
	}
}
