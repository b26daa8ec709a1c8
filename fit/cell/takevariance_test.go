package cell

import (
	"math"
	"testing"
)

// Cells of three and of two takes count by their degrees of freedom, single takes not
// at all.
func TestTakeVariances(t *testing.T) {
	cells := []Cell{{Mounting: &Mounting{}, Takes: 3, SD: 0.02}, {Mounting: &Mounting{}, Takes: 2, SD: 0.05}, {Mounting: &Mounting{}, Takes: 1}}
	if got, want := TakeVariancesOf(cells).Jig, (2*0.0004+0.0025)/3; math.Abs(got-want) > 1e-15 {
		t.Errorf("got %g, want %g", got, want)
	}
	if got := TakeVariancesOf(cells[2:]).Jig; math.Abs(got-0.0009) > 1e-15 {
		t.Errorf("single takes: got %g, want the usual 0.0009", got)
	}
	// What a hand plucked scatters otherwise, and does not touch what a jig does.
	cells = append(cells, Cell{Mounting: &Mounting{ByHand: true}, Takes: 4, SD: 0.2})
	v := TakeVariancesOf(cells)
	if math.Abs(v.Hand-0.04) > 1e-15 || math.Abs(v.Jig-(2*0.0004+0.0025)/3) > 1e-15 || v.Of(&cells[3]) != v.Hand || v.Of(&cells[0]) != v.Jig {
		t.Errorf("got %+v", v)
	}
}
