package record

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record/disk"
)

// The digest of what a row says is a promise: a program that seals otherwise
// takes every record there is for altered. Expected values: printf of the text
// by hand and sha256sum.
func TestWhatASealCovers(t *testing.T) {
	row := sampleRow(1)
	const said = "batch=4:M-03\nboot=8:0000ABCD\ncore_mm=4:0.33\nexcite=6:travel\nfreq_hz=5:246.9\ngauge_mm=4:0.33\njig=5:jig-7\n" +
		"mode=1:P\npeak_mv=6:45.678\npickup=10:T \"4\", new\npole_height_mm=5:-0.05\npurpose=5:model\nquiet_mv=3:0.4\nrms_mv=4:12.3\n" +
		"seq=1:1\nsession=4:s001\nstring=1:2\nstring_height_mm=5:3.125\ntake=1:3\ntime=24:2026-03-04T04:06:07.089Z\nwindow_ms=3:500\nwrap=5:plain\n"
	if got := string(sealedText(readingColumns.Layout, row)); got != said {
		t.Errorf("said %q\nexpected %q", got, said)
	}
	field := fieldRow(map[string]string{"field_mt": "-12.50", "probe_gap_mm": "0.50", "status": "ok", "note": " a\r\nb "})
	if got, want := string(sealedText(fieldColumns.Layout, field)), "field_mt=5:-12.5\nnote=3:a\nb\nprobe_gap_mm=3:0.5\n"; got != want {
		t.Errorf("said %q, expected %q", got, want)
	}
	first := seal{row: 1, digest: digest([]byte("field_mt=5:-12.5\n"))}.after(seal{})
	if first.digest != "8fb098dac9b06fe4" || first.chain != "722a3728c8bcb732" {
		t.Errorf("digest %s, chain %s", first.digest, first.chain)
	}
}

// appendRows opens a shop on a disk, adds rows one by one and two at once, and
// tells how many were acknowledged.
func appendRows(t *testing.T, dir string, create func(string) (disk.Appender, error)) (kept int) {
	t.Helper()
	s, err := openWriter(dir, create)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for seq := uint32(1); seq <= 3; seq++ {
		if s.readings.append(sampleRow(seq)) == nil {
			kept++
		}
	}
	if s.readings.append(sampleRow(4), sampleRow(5)) == nil {
		kept += 2
	}
	return kept
}

// A tightDisk has room for some bytes and is asked to sync only so often before
// it fails.
type tightDisk struct{ room, syncs int }

var errFull = errors.New("disk full")

type tightFile struct {
	*os.File
	disk *tightDisk
}

func (d *tightDisk) create(path string) (disk.Appender, error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND|os.O_CREATE, 0o644)
	return &tightFile{f, d}, err
}

func (f *tightFile) Write(p []byte) (int, error) {
	n := min(f.disk.room, len(p))
	f.disk.room -= n
	f.File.Write(p[:n])
	if n < len(p) {
		return n, errFull
	}
	return n, nil
}

func (f *tightFile) Sync() error {
	if f.disk.syncs--; f.disk.syncs < 0 {
		return errFull
	}
	return f.File.Sync()
}

// Wherever the disk fails, of rows and seals: what was called kept is there, the
// record verifies without a fault before and after the next writer, and that one
// can write.
func TestTheDiskFailsAtEveryWrite(t *testing.T) {
	const plenty = 1 << 20
	for step := 0; ; step++ {
		full := &tightDisk{room: 41 * step, syncs: plenty}
		broken := &tightDisk{room: plenty, syncs: step}
		a, b := failAndGoOn(t, full), failAndGoOn(t, broken)
		if a == 5 && b == 5 {
			if step < 10 {
				t.Errorf("the disk never failed: %d steps", step)
			}
			return
		}
	}
}

func failAndGoOn(t *testing.T, disk *tightDisk) (kept int) {
	t.Helper()
	said := *disk
	dir := t.TempDir()
	kept = appendRows(t, dir, disk.create)
	noFaults(t, dir, fmt.Sprintf("after the failure of %+v", said))
	s, err := OpenWriter(dir)
	if err != nil {
		t.Fatalf("%+v: %v", said, err)
	}
	if err := s.readings.append(sampleRow(9)); err != nil {
		t.Errorf("%+v: %v", said, err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	noFaults(t, dir, fmt.Sprintf("after the next writer of %+v", said))
	var seqs []int
	for r, err := range ReadFile(filepath.Join(dir, ReadingsFile), Readings) {
		if err != nil {
			t.Fatalf("%+v: %v", said, err)
		}
		seqs = append(seqs, int(r.Seq))
	}
	for seq := 1; seq <= kept; seq++ {
		if !slices.Contains(seqs, seq) {
			t.Errorf("%+v: %d rows were called kept, and there are %v", said, kept, seqs)
		}
	}
	return kept
}

func noFaults(t *testing.T, dir, when string) {
	t.Helper()
	_, err := Verify(context.Background(), dir, func(f Finding) {
		if f.Fault {
			t.Errorf("%s: %v", when, f)
		}
	})
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		t.Errorf("%s: %v", when, err)
	}
}

// oneRow is a shop with one row, open for writing, and its file of seals.
func oneRow(t *testing.T) (s *Writer, seals string) {
	t.Helper()
	s, err := OpenWriter(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	if err := s.readings.append(sampleRow(1)); err != nil {
		t.Fatal(err)
	}
	return s, filepath.Join(s.Dir, "readings.seals.csv")
}

// Seals are synced when the shop is closed: when that fails it is told with the
// name of the file, and the next writer finds the shop as after a crash.
func TestSealsThatAreNotSyncedAreTold(t *testing.T) {
	s, seals := oneRow(t)
	if err := os.Rename(seals, seals+".old"); err != nil {
		t.Skip(err) // not everywhere may an open file be renamed
	}
	var w *disk.WriteError
	if err := s.Close(); !errors.As(err, &w) || w.Path != seals || !errors.Is(err, disk.ErrMoved) {
		t.Errorf("got %v", err)
	}
	s, err := OpenWriter(s.Dir)
	if err != nil || len(s.Notices) != 1 || !strings.Contains(s.Notices[0], "taken over") {
		t.Fatalf("notices %q, %v", s.Notices, err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

// What sealing anew cannot finish leaves the seals as they were, and the shop can
// still be closed.
func TestSealingAnewFails(t *testing.T) {
	s, seals := oneRow(t)
	before := text(t, seals)
	readings := filepath.Join(s.Dir, ReadingsFile)
	if err := errors.Join(os.Rename(readings, readings+".old"), os.Mkdir(readings, 0o755)); err != nil { // cannot be read
		t.Skip(err) // not everywhere may an open file be renamed
	}
	if done, err := s.Seal(time.Now()); err == nil {
		t.Errorf("sealed: %q", done)
	}
	if got := text(t, seals); got != before {
		t.Errorf("seals are now\n%s", got)
	}
	if names, err := filepath.Glob(filepath.Join(s.Dir, ".new-*")); err != nil || len(names) > 0 {
		t.Errorf("left behind: %v, %v", names, err)
	}
	if err := errors.Join(os.Remove(readings), os.Rename(readings+".old", readings)); err != nil { // put back
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}
