package record

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"evenpole/capture/record/disk"
)

// Export copies the record as it stood when it began, while a capture writes.
func TestExportWhileACaptureWrites(t *testing.T) {
	dir := writtenShop(t, 500, 0)
	s, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	var writes sync.WaitGroup
	defer writes.Wait()
	stop := make(chan struct{})
	defer close(stop)
	writes.Go(func() {
		for seq := 501; ; seq++ {
			select {
			case <-stop:
				return
			default:
			}
			if err := s.readings.append(someReadings(seq, 1)...); err != nil {
				t.Error(err)
				return
			}
		}
	})
	for last := 500; last < 540; {
		rows, err := Export(context.Background(), io.Discard, dir, ReadingsFile, Filter{})
		if err != nil || rows < last {
			t.Fatalf("%d rows after %d: %v", rows, last, err)
		}
		last = rows
	}
}

// What happens to the files of a shop while it is open is told, before the capture
// ends and by the row that is written next.
func TestFilesThatAreSpoiledMeanwhile(t *testing.T) {
	half := func(name string) func(dir string) error {
		return func(dir string) error {
			info, err := os.Stat(filepath.Join(dir, name))
			if err != nil {
				return err
			}
			return os.Truncate(filepath.Join(dir, name), info.Size()/2)
		}
	}
	remove := func(name string) func(dir string) error {
		return func(dir string) error { return os.Remove(filepath.Join(dir, name)) }
	}
	for what, c := range map[string]struct {
		file  string
		spoil func(dir string) error
		cut   bool
		row   bool // the next row tells
	}{
		"readings cut":     {ReadingsFile, half(ReadingsFile), true, true},
		"seals cut":        {"readings.seals.csv", half("readings.seals.csv"), true, false},
		"seals deleted":    {"readings.seals.csv", remove("readings.seals.csv"), false, false},
		"readings deleted": {ReadingsFile, remove(ReadingsFile), false, true},
		"lock deleted":     {disk.LockFile, remove(disk.LockFile), false, true},
	} {
		for _, more := range []bool{false, true} {
			s, _ := oneRow(t)
			if err := c.spoil(s.Dir); err != nil {
				s.Close()
				t.Skip(err) // not everywhere may an open file be touched
			}
			var err error
			if more {
				if err = s.readings.append(sampleRow(2)); (err != nil) != c.row {
					t.Errorf("%s: the next row: %v", what, err)
				}
			}
			err = errors.Join(err, s.Close())
			var w *disk.WriteError
			if !errors.As(err, &w) || w.Path != filepath.Join(s.Dir, c.file) || !errors.Is(err, disk.ErrMoved) || errors.Is(err, disk.ErrCut) != c.cut {
				t.Errorf("%s, another row %v: %v", what, more, err)
			}
		}
	}
}
