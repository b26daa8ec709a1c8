// Package sharetest gives tests shops that share, and tests that every carrier of a shared
// record has to pass.
//
//   - sharetest.go makes shops and compares their files.
//   - contract.go has the tests of a carrier.
package sharetest

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/capture/record/table"
	"evenpole/share"
	"evenpole/shop"
)

// Row is reading number seq of a bench's jig.
func Row(bench string, seq uint32) record.Reading {
	return record.Reading{
		Time: time.Date(2026, 3, 2, 9, 0, int(seq), 0, time.UTC), Session: "s001", Purpose: record.ForModel,
		Jig: "jig-" + bench, Boot: "0000abcd", Seq: seq, HasSeq: true, Pickup: "T-" + bench, Batch: "gale", String: int(seq%6) + 1,
		StringSet: "house", Core: 0.254, Gauge: 0.254, Wrap: "plain", PoleHeight: 0.5, StringHeight: 3,
		Mode: record.Pluck, Take: int(seq), RMS: 20 + float64(seq%97)/100, Peak: 60, Freq: 330, Window: 500, Quiet: 0.3,
		Excite: "travel", Status: record.OK, Note: "",
	}
}

// Add adds readings to a shop's record as a capture does.
func Add(t testing.TB, dir string, rows ...record.Reading) {
	t.Helper()
	w, err := record.OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	for i := range rows {
		if err := w.AddReading(&rows[i]); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}

// Fill writes a record of n readings in one go, and seals it.
func Fill(t testing.TB, dir, bench string, n int) {
	t.Helper()
	rows := make([]record.Reading, n)
	for i := range rows {
		rows[i] = Row(bench, uint32(i+1))
	}
	Write(t, dir, rows)
}

// Shop makes a shop with n readings of its own, two holds, a mount, a calibration, a string set
// and an order, which has not joined.
func Shop(t testing.TB, bench string, n int) *shop.Shop {
	t.Helper()
	dir := filepath.Join(t.TempDir(), bench)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	var rows []record.Reading
	for i := range n {
		rows = append(rows, Row(bench, uint32(i+1)))
	}
	Add(t, dir, rows...)
	w, err := record.OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	hold := record.Hold{Time: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC), Session: "s001", Purpose: record.ForModel, Kind: record.OfReadings, Jig: "jig-" + bench, Boot: "0000abcd", Pickup: "T-" + bench, Mount: "T.toml"}
	loose := record.Hold{Time: hold.Time, Session: "s002", Purpose: record.ForBatch, Kind: record.OfFields, Jig: hold.Jig, Boot: "0000abce", Mount: "gale.toml"}
	if err := errors.Join(w.AddHold(hold), w.AddHold(loose)); err != nil {
		t.Fatal(err)
	}
	if err := w.AddField(&record.FieldReading{Time: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC), Session: "s002", Jig: "jig-" + bench, Boot: "0000abce", Seq: 1, HasSeq: true, Batch: "gale", Magnet: "gale/1", Position: 1, Take: 1, Field: 90, ProbeGap: 0.5}); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, record.MountsDir, "T.toml"), "pickup = \"T-"+bench+"\"\n")
	write(t, filepath.Join(dir, shop.OrdersDir, bench+".toml"), "id = \""+bench+"\"\r\n")
	s, err := shop.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func write(t testing.TB, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// Join has a shop join as a bench.
func Join(t testing.TB, s *shop.Shop, bench, folder string) *share.Bench {
	t.Helper()
	if _, err := share.Join(s, bench, folder); err != nil {
		t.Fatal(err)
	}
	b, err := share.Of(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Own are the digests of a shop's own files: all but those in its folder shared/.
func Own(t testing.TB, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if d.Name() == shop.SharedDir {
				return filepath.SkipDir
			}
			return nil
		}
		text, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		out[rel] = fmt.Sprintf("%x", sha256.Sum256(text))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// SameRows fails unless the copy of a bench's file at another shop says what the file says.
func SameRows(t testing.TB, from, to, bench, file string) {
	t.Helper()
	own, err := os.ReadFile(filepath.Join(from, file))
	if err != nil {
		t.Fatal(err)
	}
	copied, err := os.ReadFile(filepath.Join(to, shop.SharedDir, "benches", bench, file))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(own, copied) {
		t.Errorf("%s of bench %s: the copy has %d bytes, %d lines, and differs from %d bytes, %d lines", file, bench,
			len(copied), bytes.Count(copied, []byte("\n")), len(own), bytes.Count(own, []byte("\n")))
	}
}

// Write makes a folder with a record of some rows, which it seals.
func Write(t testing.TB, dir string, rows []record.Reading) {
	t.Helper()
	var text bytes.Buffer
	w := table.NewWriter(&text, false)
	lines := [][]string{record.Columns(record.ReadingsFile)}
	for i := range rows {
		lines = append(lines, record.TextOf(&rows[i]))
	}
	for _, line := range lines {
		if err := w.Write(line); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, record.ReadingsFile), text.String())
	x, err := record.OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := x.Seal(time.Now()); err != nil {
		t.Fatal(err)
	}
	if err := x.Close(); err != nil {
		t.Fatal(err)
	}
}
