package cell

import (
	"math"
	"testing"
)

// Levels of one pickup and one scale are shifted together; those in mV stay.
func TestBringRelative(t *testing.T) {
	stats := &TakeStats{Mean: -5}
	d := &Data{Cells: []Cell{{Mounting: &Mounting{Pickup: "A"}, Mean: 3}, {Mounting: &Mounting{Pickup: "A", Scale: "r"}, Mean: -5, TakeStats: stats}, {Mounting: &Mounting{Pickup: "A", Scale: "r"}, Mean: -4}, {Mounting: &Mounting{Pickup: "B", Scale: "r"}, Mean: 9}}}
	for range 2 { // once more changes nothing
		d.BringRelative()
		for i, want := range []float64{3, usualLevel - 0.5, usualLevel + 0.5, usualLevel} {
			if got := d.Cells[i].Mean; math.Abs(got-want) > 1e-12 {
				t.Errorf("cell %d: got %g, want %g", i, got, want)
			}
		}
		if got := d.Cells[1].TakeStats.Mean; math.Abs(got-d.Cells[1].Mean) > 1e-12 || stats.Mean != -5 {
			t.Errorf("mean of takes: got %g", got)
		}
	}
}
