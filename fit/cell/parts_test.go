package cell

import (
	"slices"
	"testing"
)

// An unnamed set is what one session had: the same gauges and cores are the
// same set wherever they are met, and order and sessions do not matter.
func TestUnnamedSetsAreKnownByTheirStrings(t *testing.T) {
	d := &Data{Cells: []Cell{
		{Pickup: "A", Session: "1", Core: 0.25, Gauge: 0.25}, {Pickup: "A", Session: "1", Core: 0.4, Gauge: 1},
		{Pickup: "A", Session: "2", Core: 0.28, Gauge: 0.28}, {Pickup: "A", Session: "2", Core: 0.4, Gauge: 1},
		{Pickup: "B", Session: "3", Core: 0.25, Gauge: 0.25}, {Pickup: "B", Session: "3", Core: 0.4, Gauge: 1},
		{Pickup: "B", Session: "4", Core: 0.25, Gauge: 0.25, Set: "named"},
	}}
	a, b := "unnamed, 0.25 1/0.4 mm", "unnamed, 0.28 1/0.4 mm"
	if got, want := d.SetNames(), []string{a, a, b, b, a, a, "named"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}
