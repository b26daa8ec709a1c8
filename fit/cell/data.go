package cell

import (
	"crypto/sha256"
	"fmt"
	"io"
	"maps"
	"slices"
	"time"
)

// Data is a record as models see it.
type Data struct {
	Cells    []Cell    // by pickup, session and string
	Readings int       // rows read
	Used     int       // takes in cells
	LeftOut  []LeftOut // by reason

	Suspects []Suspect // mistakes that the record seems to hold, by package screen

	Magnets map[string]float64 // ln of the flux density of single magnets against their batch: see AddFields
	FieldSD float64            // its standard deviation within a batch; 0 when not measured
	Batches map[string]float64 // ln of the flux density of loose magnets, mT at one probe gap, of each batch: see AddFields

	Impossible []Cell // what the rows left out as isImpossible would be, for Screen
}

// LeftOut counts the rows that are in no cell for one reason.
type LeftOut struct {
	Reason string `json:"reason"`
	Count  int    `json:"count"`
	File   int    `json:"file"` // of the first such row: which of Gather's files, from 0
	Line   int    `json:"line"` // of the first such row
}

// Suspect is a mistake that the record seems to hold: package screen looks for them.
type Suspect struct {
	Kind     string   `json:"kind"`   // as package screen names it
	Pickup   string   `json:"pickup"` // of a pickup mixed up: the one that it seems to have been
	Session  string   `json:"session"`
	Strings  []int    `json:"strings"` // empty: all
	Columns  []string `json:"columns"` // readings columns concerned
	Cause    string   `json:"cause"`   // one sentence: what it looks like, with figures
	Rows     []Span   `json:"rows"`
	Evidence float64  `json:"evidence"` // ln of how much likelier the record is with the mistake than without, for ranking
}

// Fingerprint is the SHA-256 of all that a model can learn from the cells, in
// hex. Neither the order of rows nor what was left out changes it, nor does what
// the program calls a field of a cell: what is hashed is written out here.
func (d *Data) Fingerprint() string {
	h := sha256.New()
	fmt.Fprintln(h, "evenpole cells 1")
	for i := range d.Cells {
		d.Cells[i].writeTo(h)
	}
	writeNamed(h, "magnet", d.Magnets)
	writeNamed(h, "batch", d.Batches)
	fmt.Fprintf(h, "field_sd=%v\n", d.FieldSD)
	return fmt.Sprintf("%x", h.Sum(nil))
}

// writeTo writes what a fingerprint covers of a cell, one line. Numbers have as
// many digits as tell them from their neighbours.
func (c *Cell) writeTo(w io.Writer) {
	first := ""
	if !c.First.IsZero() {
		first = c.First.UTC().Format(time.RFC3339Nano)
	}
	fmt.Fprintf(w, "pickup=%q session=%q string=%d set=%q core=%v gauge=%v wrap=%q pole_height=%v string_height=%v mode=%q excite=%q",
		c.Pickup, c.Session, c.String, c.Set, c.Core, c.Gauge, c.Wrap, c.PoleHeight, c.StringHeight, c.Mode, c.Excite)
	fmt.Fprintf(w, " batch=%q takes=%d mean=%v sd=%v freq=%v first=%q weight=%v field=%v field_known=%t usual_pitch=%t\n",
		c.Batch, c.Takes, c.Mean, c.SD, c.Freq, first, c.Weight, c.Field, c.FieldKnown, c.UsualPitch)
}

// writeNamed writes figures by name, in order.
func writeNamed(w io.Writer, what string, figures map[string]float64) {
	for _, name := range slices.Sorted(maps.Keys(figures)) {
		fmt.Fprintf(w, "%s %q=%v\n", what, name, figures[name])
	}
}
