package cell

import (
	"math"
	"testing"

	"evenpole/capture/record/recordtest"
	"evenpole/profiles"
)

// TestStringSetsOfTheRecord: a set comes back with the notes that it was tuned
// to; one that was never measured whole does not.
func TestStringSetsOfTheRecord(t *testing.T) {
	d := gather(t, recordtest.Sample(t))
	d.Cells = append(d.Cells, Cell{Mounting: &Mounting{Set: "half"}, String: 2, Core: 0.3, Gauge: 0.3, Wrap: profiles.Plain})
	sets := d.StringSets()
	if len(sets) != 2 || sets[0].Name != "ten-nps" || sets[1].Name != "twelve-w3-ni" {
		t.Fatalf("got %+v", sets)
	}
	want := profiles.String{Note: "E2", Gauge: 1.1684, Core: 0.4191, Wrap: "nickel_plated_steel"}
	if got := sets[0].Strings[5]; got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
	for _, note := range []string{"A4", "C0", "B1", "F#3", "D#5"} {
		hz, err := profiles.Pitch(note)
		if got := noteOf(hz * 1.01); err != nil || got != note {
			t.Errorf("%s came back as %q", note, got)
		}
	}
	if noteOf(0) != "" || noteOf(math.NaN()) != "" || noteOf(1) != "" {
		t.Error("a note for no pitch")
	}
}
