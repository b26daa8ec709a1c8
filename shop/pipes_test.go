//go:build linux || darwin

package shop

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"

	"evenpole/capture/record/disk"
	"evenpole/fit"
	"evenpole/fit/gain"
	"evenpole/fit/repeat"
	"evenpole/profiles"
)

// A pipe or a device under the name of any file of a shop is an error at once: opening
// it would wait for whoever writes there, and reading it may never end.
func TestPipesInAShop(t *testing.T) {
	for name, read := range map[string]func(s *Shop, path string) error{
		"orders/X.toml": func(s *Shop, path string) error {
			_, err := s.ReadOrder(path)
			return err
		},
		"mounts/X.toml": func(s *Shop, path string) error {
			_, err := s.ReadMount(path)
			return err
		},
		profiles.SetsFile: func(s *Shop, _ string) error {
			_, err := s.Library()
			return err
		},
		profiles.BatchesFile: func(_ *Shop, path string) error {
			_, err := profiles.ReadBatches(path)
			return err
		},
		"models/model-001.json": func(s *Shop, _ string) error {
			_, err := s.ReadModel("model-001.json")
			return err
		},
		"models/current.txt": func(s *Shop, _ string) error {
			_, err := s.CurrentModel()
			return err
		},
		"models/history.csv": func(s *Shop, _ string) error { return s.use("model-001.json", "", "") },
		"calibrations/jig-2026-01-01.toml": func(s *Shop, _ string) error {
			_, err := gain.Load(s.Dir())
			return err
		},
		"certificates/0001.json": func(s *Shop, _ string) error {
			_, err := s.Certificates()
			return err
		},
		repeat.OperatorsFile: func(s *Shop, _ string) error {
			_, err := s.readOperators("")
			return err
		},
		"points.csv": func(_ *Shop, path string) error {
			_, err := SourcePoints(path)
			return err
		},
		"readings.csv": func(s *Shop, _ string) error {
			_, err := s.Cells(context.Background())
			return err
		},
	} {
		for what, put := range map[string]func(path string) error{
			"a pipe":   func(path string) error { return syscall.Mkfifo(path, 0o644) },
			"a device": func(path string) error { return os.Symlink("/dev/zero", path) },
		} {
			if what == "a device" && name == "models/history.csv" {
				continue // is refused as a link
			}
			s := &Shop{Now: time.Now, folder: folder(t.TempDir())}
			path := filepath.Join(s.Dir(), filepath.FromSlash(name))
			if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), put(path)); err != nil {
				t.Fatal(err)
			}
			err := read(s, path)
			if kind := (*disk.KindError)(nil); !errors.As(err, &kind) || kind.Path != path || err.Error() != path+": expected a plain file, got "+what {
				t.Errorf("%s is %s: %v", name, what, err)
			}
		}
	}
}

// A pipe or a device is not replaced by a file, whatever the user insists on.
func TestWriteFileReplacesNoDevice(t *testing.T) {
	dir := t.TempDir()
	pipe, link := filepath.Join(dir, "pipe.csv"), filepath.Join(dir, "link.csv")
	if err := errors.Join(syscall.Mkfifo(pipe, 0o644), os.Symlink("/dev/zero", link)); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{pipe, link} {
		for _, force := range []bool{false, true} {
			err := (&Shop{}).WriteFile(path, force, text("x"))
			if kind := (*disk.KindError)(nil); !errors.As(err, &kind) {
				t.Errorf("%s, force %v: %v", path, force, err)
			}
			if info, err := os.Lstat(path); err != nil || info.Mode().IsRegular() {
				t.Errorf("%s, force %v: %v, %v", path, force, info, err)
			}
		}
	}
}

// What the shell hands over in place of a file, as in <(zcat model.json.gz), is read.
func TestInputThatIsHandedOver(t *testing.T) {
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if _, err := w.WriteString(`{"format": "another"}`); err != nil {
		t.Fatal(err)
	}
	w.Close()
	path := filepath.Join("/dev/fd", strconv.FormatUint(uint64(r.Fd()), 10))
	if _, err := fit.ReadModel(path); err == nil || err.Error() != path+`: format: expected "evenpole model", got "another"` {
		t.Errorf("got %v", err)
	}
}
