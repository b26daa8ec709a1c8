package record_test

import (
	"context"
	"errors"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/jig"
	"evenpole/jig/jigtest"
	"evenpole/profiles"
)

// A disk that fails in the middle of a capture costs nothing that was kept, and
// once there is room again the same capture resumes.
func TestTheDiskFailsDuringACapture(t *testing.T) {
	for _, room := range []int{0, 20, 150, 300} {
		dir := t.TempDir()
		synctest.Test(t, func(t *testing.T) {
			bench := jigtest.New(jigtest.Config{StatusEvery: time.Second})
			kept, err := captureOnto(t, bench, dir, 3, room)
			var stopped *capture.StoppedError
			if !errors.As(err, &stopped) || !strings.Contains(err.Error(), "readings.csv: disk full") || kept < 3 {
				t.Errorf("room for %d bytes: %d kept, %v", room, kept, err)
			}
			if n := len(rowsIn(t, dir)); n < kept {
				t.Errorf("room for %d bytes: %d rows, and %d were called kept", room, n, kept)
			}
			if _, err := captureOnto(t, bench, dir, 0, 0); err != nil {
				t.Error(err)
			}
			rows := rowsIn(t, dir)
			for _, e := range bench.Log() {
				if rows[e.Seq] != 1 {
					t.Errorf("room for %d bytes: reading %d is in the record %d times", room, e.Seq, rows[e.Seq])
				}
			}
		})
	}
}

// captureOnto captures one string into a shop whose disk has, once a number of
// rows are kept, room for so many bytes more. It tells how many rows were kept.
func captureOnto(t *testing.T, bench *jigtest.Jig, dir string, rows, room int) (kept int, err error) {
	ours, theirs := net.Pipe()
	go bench.Serve(context.Background(), theirs) // ends with Close
	conn, err := jig.Attach(t.Context(), ours, "test port", jig.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer synctest.Wait()
	defer conn.Close()
	shop, err := record.OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer shop.Close()
	_, err = capture.Run(t.Context(), shop, conn, capture.Options{
		Purpose: record.ForModel, Takes: 5, Quiet: 1,
		Mount: &profiles.Mount{Pickup: "T-004", PoleHeights: []float64{1}, StringHeights: []float64{3},
			Strings: []profiles.String{{Core: 0.25, Gauge: 0.25, Wrap: "plain"}}},
		Progress: func(capture.Progress) {
			if kept++; kept == rows {
				record.LeaveRoom(shop, room)
			}
		},
	})
	return kept, err
}

// rowsIn counts how often each reading stands in a shop's record, of which the
// last line may be torn.
func rowsIn(t *testing.T, dir string) map[uint32]int {
	rows := map[uint32]int{}
	var torn *record.RowError
	for r, err := range record.ReadFile(filepath.Join(dir, record.ReadingsFile), record.Readings) {
		if torn != nil {
			t.Error(torn)
		}
		if err != nil && !errors.As(err, &torn) {
			t.Fatal(err)
		}
		if err == nil {
			rows[r.Seq]++
		}
	}
	return rows
}
