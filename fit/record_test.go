package fit

import (
	"iter"
	"math"
	"slices"
	"strconv"
	"testing"
	"time"

	"evenpole/capture"
)

// readRecord reads a readings file of testdata by column, without the reader
// that the program uses.
func readRecord(t testing.TB, name string) []capture.Reading {
	t.Helper()
	tb := readTable(t, name)
	rows := make([]capture.Reading, len(tb["string"]))
	number := func(column string, i int) float64 {
		v, err := strconv.ParseFloat(tb[column][i], 64)
		if err != nil {
			return math.NaN()
		}
		return v
	}
	for i := range rows {
		seq, err := strconv.ParseUint(tb["seq"][i], 10, 32)
		when, _ := time.Parse(time.RFC3339, tb["time"][i])
		rows[i] = capture.Reading{
			Time: when, Session: tb["session"][i], Jig: tb["jig"][i], Boot: tb["boot"][i], Seq: uint32(seq), HasSeq: err == nil,
			Pickup: tb["pickup"][i], Batch: tb["batch"][i], String: int(number("string", i)), StringSet: tb["string_set"][i],
			Core: number("core_mm", i), Gauge: number("gauge_mm", i), Wrap: tb["wrap"][i],
			PoleHeight: number("pole_height_mm", i), StringHeight: number("string_height_mm", i),
			Mode: capture.Mode(tb["mode"][i]), RMS: number("rms_mv", i), Freq: number("freq_hz", i), Quiet: number("quiet_mv", i),
			Excite: tb["excite"][i], Status: capture.Status(tb["status"][i]), Line: i + 2,
		}
	}
	return rows
}

// each hands rows out as a reader does.
func each(rows []capture.Reading) iter.Seq2[capture.Reading, error] {
	return func(yield func(capture.Reading, error) bool) {
		for _, r := range slices.Clone(rows) {
			if !yield(r, nil) {
				return
			}
		}
	}
}

func gather(t testing.TB, files ...[]capture.Reading) *Data {
	t.Helper()
	var seqs []iter.Seq2[capture.Reading, error]
	for _, f := range files {
		seqs = append(seqs, each(f))
	}
	d, err := Gather(seqs...)
	if err != nil {
		t.Fatal(err)
	}
	return d
}
