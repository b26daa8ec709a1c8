// Package truth compares a shop's record with what a jig knows that it made:
// the common part of the programs that try to make a capture lose something.
package truth

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"

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

// Rows reads a shop's readings, of which there are none where there is no file, or nothing in it.
func Rows(shop string) (rows []Row, err error) {
	f, err := os.Open(filepath.Join(shop, record.ReadingsFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if info, err := f.Stat(); err == nil && info.Size() == 0 { // cut short before the header
		return nil, nil
	}
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

// Lost counts acknowledged readings that the record lacks. It has them in the
// order in which they were acknowledged, and between them those that were
// written and not acknowledged any more. kept are the lines that the program printed.
func Lost(kept []string, rows []Row) (n int) {
	at := 0
	for _, line := range kept {
		next := at
		for next < len(rows) && !strings.HasPrefix(line, acknowledgement(rows[next])) {
			next++
		}
		if next == len(rows) {
			n++
			continue
		}
		at = next + 1
	}
	return n
}

// acknowledgement is how the line begins that acknowledges a row.
func acknowledgement(r Row) string {
	what := map[string]string{"P": "string", "Q": "quiet, string"}[r.Mode]
	return fmt.Sprintf("kept %s %d: %.3f mV,", what, r.String, float64(r.RMS)/1000)
}
