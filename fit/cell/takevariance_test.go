package cell

import (
	"math"
	"testing"
)

// Cells of three and of two takes count by their degrees of freedom, single takes not
// at all.
func TestTakeVariance(t *testing.T) {
	cells := []Cell{{Takes: 3, SD: 0.02}, {Takes: 2, SD: 0.05}, {Takes: 1}}
	if got, want := TakeVariance(cells), (2*0.0004+0.0025)/3; math.Abs(got-want) > 1e-15 {
		t.Errorf("got %g, want %g", got, want)
	}
	if got := TakeVariance(cells[2:]); math.Abs(got-0.0009) > 1e-15 {
		t.Errorf("single takes: got %g, want the usual 0.0009", got)
	}
}
