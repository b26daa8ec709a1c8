package capture_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/jig/jigtest"
)

// A laptop that sleeps for an hour between two takes costs nothing, whatever
// the jig did meanwhile.
func TestAsleepForAnHour(t *testing.T) {
	for name, m := range map[string]jigtest.Mishap{
		"and the jig went on":     {},
		"and the jig slept too":   {Silence: time.Hour + time.Second},
		"and the jig restarted":   {Restart: true},
		"and the port was lost":   {HangUp: true},
		"and the power went, too": {HangUp: true, Restart: true},
	} {
		t.Run(name, func(t *testing.T) {
			onBench(t, jigtest.Config{TakeTime: time.Second, AtReading: map[int]jigtest.Mishap{5: m}}, func(b *bench) {
				n := 0
				opt := capture.Options{Takes: 4, Quiet: 1, Progress: func(capture.Progress) {
					if n++; n == 5 {
						time.Sleep(time.Hour)
					}
				}}
				if _, err := b.run(opt); (err != nil) != m.HangUp {
					t.Errorf("the capture ended with %v", err)
				}
				synctest.Wait()
				b.replug()
				if res := b.must(opt); !res.Complete {
					t.Errorf("%+v", res)
				}
				b.wholeRecord()
			})
		})
	}
}

// A clock that is set back, and stands still, confuses neither the order of the
// record nor what is resumed.
func TestTheClockIsSetBack(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		now := time.Date(2025, 3, 3, 9, 0, 0, 0, time.UTC)
		opt := capture.Options{Takes: 4, Quiet: 1, Now: func() time.Time { now = now.Add(-time.Hour); return now }}
		for rows := 3; rows < 9; rows += 3 {
			b.untilProgress(3, opt)
		}
		now = time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC)
		opt.Now = func() time.Time { return now }
		if res := b.must(opt); !res.Resumed || res.Session != "s001" {
			t.Errorf("%+v", res)
		}
		if res := b.must(opt); !res.Already {
			t.Errorf("%+v", res)
		}
		b.wholeRecord()
	})
}

// A process may be killed between making a file and writing its header.
func TestFilesWithoutAHeaderYet(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		for _, name := range []string{record.ReadingsFile, "readings.seals.csv", record.FieldsFile, record.SessionsFile} {
			if err := os.WriteFile(filepath.Join(b.dir, name), nil, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if res := b.must(capture.Options{Takes: 1, Quiet: 1}); !res.Complete {
			t.Errorf("%+v", res)
		}
		b.wholeRecord()
	})
}

// What happens to the files of a shop while a capture writes to them.
func TestTheFilesGoAway(t *testing.T) {
	for name, spoil := range map[string]func(dir string) error{
		"the folder is deleted": os.RemoveAll,
		"the folder is moved":   func(dir string) error { return os.Rename(dir, dir+"-elsewhere") },
		"the file is deleted":   func(dir string) error { return os.Remove(filepath.Join(dir, record.ReadingsFile)) },
		"the file is replaced": func(dir string) error { // as many editors save
			file := filepath.Join(dir, record.ReadingsFile)
			text, err := os.ReadFile(file)
			return errors.Join(err, os.WriteFile(file+".new", text, 0o644), os.Rename(file+".new", file))
		},
	} {
		t.Run(name, func(t *testing.T) {
			onBench(t, jigtest.Config{}, func(b *bench) {
				b.dir = filepath.Join(b.dir, "shop")
				kept := 0
				opt := capture.Options{Takes: 4, Quiet: 1, Progress: func(capture.Progress) {
					if kept++; kept != 5 {
						return
					}
					if err := spoil(b.dir); err != nil {
						t.Skip(err) // a system that lets nobody touch an open file
					}
				}}
				res, err := b.runLeft(opt)
				if !errors.Is(err, disk.ErrMoved) || !strings.Contains(err.Error(), "readings.csv: was moved, deleted or replaced") {
					t.Errorf("got %v", err)
				}
				if kept != 5 || res.Kept != kept {
					t.Errorf("%d called kept, expected 5", kept)
				}
				b.replug()
				opt.Progress = nil
				if res := b.must(opt); !res.Complete {
					t.Errorf("%+v", res)
				}
				// What was deleted is deleted; the jig still has it all the same.
				if name == "the file is replaced" || name == "the file is deleted" {
					b.wholeRecord()
				}
			})
		})
	}
}

// runLeft is run into a shop that may be gone by the end.
func (b *bench) runLeft(opt capture.Options) (*capture.Result, error) {
	b.t.Helper()
	shop, err := record.OpenWriter(b.dir)
	if err != nil {
		b.t.Fatal(err)
	}
	defer shop.Close()
	opt.Purpose, opt.Mount = record.ForModel, mount()
	return capture.Run(b.t.Context(), shop, b.conn, opt)
}

// Torn lines of the same millisecond, as a clock without a battery has them,
// are all set aside.
func TestTornAgainAtTheSameTime(t *testing.T) {
	onBench(t, jigtest.Config{}, func(b *bench) {
		b.must(capture.Options{Takes: 1, Quiet: 1})
		for range 3 { // time stands still in here
			b.rewrite(func(lines []string) []string { return append(lines, "2025-03-03T08:49:5") })
			shop, err := record.OpenWriter(b.dir)
			if err != nil {
				t.Fatal(err)
			}
			if err := shop.Close(); err != nil {
				t.Fatal(err)
			}
		}
		aside, err := filepath.Glob(filepath.Join(b.dir, "readings.torn-*.csv"))
		if err != nil || len(aside) != 3 {
			t.Errorf("%q, %v: expected 3 files", aside, err)
		}
		b.wholeRecord()
	})
}
