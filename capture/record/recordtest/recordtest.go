// Package recordtest gives tests the records of the repository's testdata folder,
// and hands rows out as a reader does.
package recordtest

import (
	"encoding/csv"
	"iter"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/profiles"
)

// Path is that of a file of the testdata folder at the top of the repository.
func Path(t testing.TB, elem ...string) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return filepath.Join(append([]string{dir, "testdata"}, elem...)...)
		}
		parent := filepath.Dir(dir)
		if parent == dir {
			t.Fatal("no go.mod above the test")
		}
		dir = parent
	}
}

// Table is a CSV file by the names of its columns.
type Table map[string][]string

// ReadTable reads a CSV file by column.
func ReadTable(t testing.TB, path string) Table {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	table := Table{}
	for j, name := range rows[0] {
		for _, row := range rows[1:] {
			table[name] = append(table[name], row[j])
		}
	}
	return table
}

// Sample is the record of the sample shop, read by column without the reader that
// the program uses.
func Sample(t testing.TB) []record.Reading {
	t.Helper()
	tb := ReadTable(t, Path(t, "sample-shop", "readings.csv"))
	number := func(column string, i int) float64 {
		v, err := strconv.ParseFloat(tb[column][i], 64)
		if err != nil {
			return math.NaN()
		}
		return v
	}
	rows := make([]record.Reading, len(tb["string"]))
	for i := range rows {
		seq, err := strconv.ParseUint(tb["seq"][i], 10, 32)
		when, _ := time.Parse(time.RFC3339, tb["time"][i])
		rows[i] = record.Reading{
			Time: when, Session: tb["session"][i], Jig: tb["jig"][i], Boot: tb["boot"][i], Seq: uint32(seq), HasSeq: err == nil,
			Pickup: tb["pickup"][i], Batch: tb["batch"][i], String: int(number("string", i)), StringSet: tb["string_set"][i],
			Core: number("core_mm", i), Gauge: number("gauge_mm", i), Wrap: profiles.Wrap(tb["wrap"][i]),
			PoleHeight: number("pole_height_mm", i), StringHeight: number("string_height_mm", i),
			Mode: record.Mode(tb["mode"][i]), RMS: number("rms_mv", i), Freq: number("freq_hz", i), Quiet: number("quiet_mv", i),
			Excite: profiles.Excitation(tb["excite"][i]), Status: record.Status(tb["status"][i]), Line: i + 2,
		}
	}
	return rows
}

// Rows hands rows out as a reader does.
func Rows[T any](rows []T) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		for _, r := range slices.Clone(rows) {
			if !yield(r, nil) {
				return
			}
		}
	}
}
