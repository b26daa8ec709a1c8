package cell

import (
	"fmt"
	"slices"
)

// Data is a record as models see it.
type Data struct {
	Cells    []Cell    // by pickup, session and string
	Readings int       // rows read
	Used     int       // takes in cells
	LeftOut  []LeftOut // by reason

	Remarks []string // what was made of cells, in plain words: see JoinDriven

	Suspects []Suspect // mistakes that the record seems to hold, by package screen

	Magnets map[string]float64 // ln of the flux density of single magnets against their batch: see AddFields
	FieldSD float64            // its standard deviation within a batch; 0 when not measured
	Batches map[string]float64 // ln of the flux density of loose magnets, mT at one probe gap, of each batch: see AddFields

	Impossible []Cell // what the rows left out as isImpossible would be, for Screen
}

// ForgetTakes lets go of what the takes of cells say beside their mean, once the record
// has been screened: models do not ask for it, and it is two fifths of a cell's memory.
func (d *Data) ForgetTakes() {
	for i := range d.Cells {
		d.Cells[i].TakeStats = nil
	}
}

// SeveralJigs reports whether cells are of more than one jig, those apart that a hand
// plucked for a recorder.
func SeveralJigs(cells []Cell) bool {
	first := -1
	for i := range cells {
		switch {
		case cells[i].ByHand:
		case first < 0:
			first = i
		case cells[i].Jig != cells[first].Jig:
			return true
		}
	}
	return false
}

// LeftOut counts the rows that are in no cell for one reason.
type LeftOut struct {
	Reason string `json:"reason"`
	Count  int    `json:"count"`
	File   int    `json:"file"` // of the first such row: which of Gather's files, from 0
	Line   int    `json:"line"` // of the first such row
}

// String says how many rows, why, and where.
func (l LeftOut) String() string {
	return fmt.Sprintf("%d %s (first at line %d)", l.Count, l.Reason, l.Line)
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

// OfOtherMount reports whether the mount of another pickup seems to have been meant as a
// whole, and not that pickup's name alone.
func (s *Suspect) OfOtherMount() bool {
	return slices.Contains(s.Columns, "pickup") && slices.Contains(s.Columns, "pole_height_mm")
}

// Remedy says what to do where the suspect is one; "" where it names no session.
func (s *Suspect) Remedy() string {
	switch {
	case s.Session == "":
		return ""
	case slices.Contains(s.Columns, "rms_mv"):
		return fmt.Sprintf("'evenpole record retract --session %s', then capture again", s.Session)
	case s.OfOtherMount():
		return fmt.Sprintf("where it was of pickup %s, 'evenpole record amend --session %s --mount FILE' with the mount file of %[1]s; else correct its own first", s.Pickup, s.Session)
	}
	return fmt.Sprintf("correct its mount file, then 'evenpole record amend --session %s --mount FILE'", s.Session)
}

// usualLevel is a level that pickups have, ln mV: some 55 mV. It matters to nothing but
// to where a search begins.
const usualLevel = 4

// BringRelative shifts the levels of each pickup's cells of one scale, whose unit is not
// known, to a level that pickups have. Their balance, and how they compare with one
// another, stay; models learn no level from them.
func (d *Data) BringRelative() {
	type group struct{ pickup, scale string }
	sum, n := map[group]float64{}, map[group]float64{}
	for i := range d.Cells {
		if c := &d.Cells[i]; c.Scale != "" {
			sum[group{c.Pickup, c.Scale}] += c.Mean
			n[group{c.Pickup, c.Scale}]++
		}
	}
	for i := range d.Cells {
		c := &d.Cells[i]
		if c.Scale == "" {
			continue
		}
		g := group{c.Pickup, c.Scale}
		c.shift(usualLevel - sum[g]/n[g])
	}
}
