package cell

import (
	"math"
	"strings"
	"testing"

	"evenpole/profiles"
)

// TestUsualTuning: where no frequency was written down, strings are taken to be
// tuned as usual, and it is said; where one was, the same string has it.
func TestUsualTuning(t *testing.T) {
	for n, notes := range usualNotes {
		list := strings.Fields(notes)
		if len(list) != n {
			t.Errorf("%d strings: %q", n, notes)
		}
		for _, note := range list {
			if _, err := profiles.Pitch(note); err != nil {
				t.Error(err)
			}
		}
	}
	notes := strings.Fields(usualNotes[6])
	d := &Data{}
	for _, session := range []string{"s0", "s1"} {
		for i := range notes {
			core := 0.25
			if session == "s1" {
				core = 0.3 // other strings
			}
			d.Cells = append(d.Cells, Cell{Mounting: &Mounting{Pickup: "P", Session: session}, String: i + 1, Core: core, Gauge: core})
		}
	}
	heard := d.Cells[0] // the first string of the first set was heard elsewhere
	heard.Remount(func(m *Mounting) { m.Pickup = "Q" })
	heard.Freq = 300
	d.Cells = append(d.Cells, heard)
	d.tune()
	for i, c := range d.Cells[:12] {
		want, _ := profiles.Pitch(notes[i%6])
		if i == 0 {
			want = 300
		}
		if math.Abs(c.Freq-want) > 1e-9 || c.UsualPitch != (i > 0) {
			t.Errorf("%s, string %d: %.2f Hz, usual %v", c.Session, c.String, c.Freq, c.UsualPitch)
		}
	}
	known, said := PitchNotes(d.Cells)
	if !known || len(said) != 1 || !strings.Contains(said[0], "tuned to E4 B3 G3 D3 A2 E2") {
		t.Errorf("pitch known %v, notes %q", known, said)
	}
}
