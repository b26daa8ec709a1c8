// Package celltest gives tests the cells of records.
package celltest

import (
	"iter"
	"math"
	"os"
	"testing"

	"evenpole/capture/record"
	"evenpole/capture/record/recordtest"
	"evenpole/fit/cell"
	"evenpole/profiles"
)

// Gather makes cells of rows, a list a file.
func Gather(t testing.TB, files ...[]record.Reading) *cell.Data {
	t.Helper()
	var seqs []iter.Seq2[record.Reading, error]
	for _, f := range files {
		seqs = append(seqs, recordtest.Rows(f))
	}
	d, err := cell.Gather(seqs...)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// File makes cells of a file of the repository's testdata folder with the program's
// own reader, peaks and all.
func File(t testing.TB, elem ...string) *cell.Data {
	t.Helper()
	path := recordtest.Path(t, elem...)
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	d, err := cell.Gather(record.Readings(f, path))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// Sample is the sample shop's cells.
func Sample(t testing.TB) *cell.Data {
	t.Helper()
	return Gather(t, recordtest.Sample(t))
}

// Good is a reading that counts; change makes it another one, and may be nil.
func Good(change func(*record.Reading)) record.Reading {
	r := record.Reading{
		Session: "s001", Jig: "j", Boot: "0000000A", Seq: 1, HasSeq: true, Pickup: "P", Batch: "M",
		String: 1, StringSet: "set", Core: 0.25, Gauge: 0.25, Wrap: profiles.Plain, PoleHeight: 1, StringHeight: 3,
		Mode: record.Pluck, RMS: 10, Freq: 330, Quiet: math.NaN(), Excite: profiles.Travel, Status: record.OK, Line: 2,
	}
	if change != nil {
		change(&r)
	}
	return r
}
