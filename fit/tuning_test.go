package fit

import (
	"math"
	"math/rand/v2"
	"slices"
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
	_, cells := falloffShop(rand.New(rand.NewPCG(11, 12)), 4)
	whole := slices.Clone(cells)
	for i := range cells {
		if cells[i].Session != "s0" {
			cells[i].Freq = 0
		}
	}
	d := &Data{Cells: cells}
	d.tune()
	for i, c := range d.Cells {
		if math.Abs(c.Freq-whole[i].Freq) > 1e-9 || c.UsualPitch != (c.Session == "s1") { // other strings than those of s0
			t.Errorf("%s, string %d: %.2f Hz, usual %v", c.Session, c.String, c.Freq, c.UsualPitch)
		}
	}
	f, err := fitFalloff(d, nil)
	if err != nil {
		t.Fatal(err)
	}
	if !f.Pitch || !strings.Contains(strings.Join(f.Notes(), "\n"), "tuned to E4 B3 G3 D3 A2 E2") {
		t.Errorf("pitch %v, notes %q", f.Pitch, f.Notes())
	}
}
