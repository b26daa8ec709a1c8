// Package truth compares a shop's record with what a jig knows that it made:
// the common part of the programs that try to make a capture lose something.
package truth

import (
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"

	"evenpole/capture/record"
	"evenpole/jig/jigtest"
	"evenpole/jig/sim"
)

// ID names a reading of one jig.
type ID struct {
	Boot string
	Seq  uint32
}

// Reading is what was measured, in the jig's units.
type Reading struct {
	String, Take           int
	Mode                   string
	RMS, Peak, Freq, Width int // µV, µV, mHz, ms
	Good                   bool
}

// Log is all that a jig made.
type Log map[ID]Reading

// OfSim is the log of the simulated jig.
func OfSim(j *sim.Jig) Log {
	log := Log{}
	for _, r := range j.Log() {
		log[ID{r.Boot.String(), r.Seq}] = Reading{r.String, r.Take, string(rune(r.Mode)),
			int(r.RMSUV), int(r.PeakUV), int(r.FreqMHz), int(r.WindowMS), r.Flags&15 == 0}
	}
	return log
}

// OfTest is the log of the independent test jig.
func OfTest(j *jigtest.Jig) Log {
	log := Log{}
	for _, e := range j.Log() {
		log[ID{e.Boot, e.Seq}] = Reading{e.String, e.Take, e.Mode, e.RMS, e.Peak, e.Freq, e.Window, e.Flags&15 == 0}
	}
	return log
}

// Row is a reading of the record.
type Row struct {
	ID
	Reading
}

// Rows reads a shop's readings, of which there are none where there is no file.
func Rows(shop string) (rows []Row, err error) {
	f, err := os.Open(filepath.Join(shop, record.ReadingsFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	for r, err := range record.Readings(f, f.Name()) {
		if err != nil {
			return nil, err
		}
		rows = append(rows, Row{ID{r.Boot, r.Seq}, Reading{r.String, r.Take, string(r.Mode),
			thousandths(r.RMS), thousandths(r.Peak), thousandths(r.Freq), int(math.Round(r.Window)), r.Status == record.OK}})
	}
	return rows, nil
}

func thousandths(x float64) int { return int(math.Round(1000 * x)) }

// Counts says how a record differs from a log.
type Counts struct {
	Missing int // made, and not in the record
	Doubled int // in the record more than once
	Altered int // in the record, and not so in the log
}

// Compare counts how rows differ from what was made.
func (log Log) Compare(rows []Row) (c Counts) {
	seen := map[ID]bool{}
	for _, r := range rows {
		if seen[r.ID] {
			c.Doubled++
		}
		seen[r.ID] = true
		if m, ok := log[r.ID]; !ok || m != r.Reading {
			c.Altered++
		}
	}
	for id := range log {
		if !seen[id] {
			c.Missing++
		}
	}
	return c
}
