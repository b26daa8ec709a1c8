package cell

import (
	"fmt"
	"strings"

	"evenpole/profiles"
)

// usualNotes are the notes of instruments by their number of strings, string 1
// first: common practice.
var usualNotes = map[int]string{
	4: "G2 D2 A1 E1",
	6: "E4 B3 G3 D3 A2 E2",
	7: "E4 B3 G3 D3 A2 E2 B1",
}

// tune gives cells whose pitch was not measured that of the same string in
// other cells, or else the usual one for pickups of so many strings.
func (d *Data) tune() {
	type str struct {
		set         string
		number      int
		core, gauge float64
	}
	if !anyCell(d.Cells, unheard) {
		return
	}
	heard := map[str]float64{}
	for i := range d.Cells {
		if c := &d.Cells[i]; c.Freq > 0 {
			heard[str{c.Set, c.String, c.Core, c.Gauge}] = c.Freq
		}
	}
	last := LastStrings(d.Cells)
	for i := range d.Cells {
		c := &d.Cells[i]
		if c.Freq > 0 {
			continue
		}
		if c.Freq = heard[str{c.Set, c.String, c.Core, c.Gauge}]; c.Freq > 0 {
			continue
		}
		if notes := strings.Fields(usualNotes[last[c.Pickup]]); len(notes) > 0 {
			c.Freq, _ = profiles.Pitch(notes[c.String-1]) // the notes are sound, a test reads them
			c.UsualPitch = true
		}
	}
}

// unheard reports whether a cell's pitch is not known.
func unheard(c *Cell) bool { return c.Freq <= 0 }

// PitchNotes says what the model takes for granted of the strings' pitch, and
// whether it knows all of them.
func PitchNotes(cells []Cell) (known bool, notes []string) {
	known = !anyCell(cells, unheard)
	if !known {
		return false, []string{"readings without freq_hz: how level follows pitch is left out, so strings tuned otherwise than these are predicted as if they were not"}
	}
	usual := map[string]bool{}
	last := LastStrings(cells)
	for i := range cells {
		c := &cells[i]
		if n := usualNotes[last[c.Pickup]]; c.UsualPitch && !usual[n] {
			usual[n] = true
			notes = append(notes, fmt.Sprintf("readings without freq_hz: their strings are taken to be tuned to %s, string 1 first", n))
		}
	}
	return true, notes
}
