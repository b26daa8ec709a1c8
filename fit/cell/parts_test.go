package cell

import (
	"reflect"
	"slices"
	"testing"
)

// An unnamed set is what one session had: the same gauges and cores are the
// same set wherever they are met, and order and sessions do not matter.
func TestUnnamedSetsAreKnownByTheirStrings(t *testing.T) {
	d := &Data{Cells: []Cell{
		{Mounting: &Mounting{Pickup: "A", Session: "1"}, Core: 0.25, Gauge: 0.25}, {Mounting: &Mounting{Pickup: "A", Session: "1"}, Core: 0.4, Gauge: 1},
		{Mounting: &Mounting{Pickup: "A", Session: "2"}, Core: 0.28, Gauge: 0.28}, {Mounting: &Mounting{Pickup: "A", Session: "2"}, Core: 0.4, Gauge: 1},
		{Mounting: &Mounting{Pickup: "B", Session: "3"}, Core: 0.25, Gauge: 0.25}, {Mounting: &Mounting{Pickup: "B", Session: "3"}, Core: 0.4, Gauge: 1},
		{Mounting: &Mounting{Pickup: "B", Session: "4", Set: "named"}, Core: 0.25, Gauge: 0.25},
	}}
	a, b := "unnamed, 0.25 1/0.4 mm", "unnamed, 0.28 1/0.4 mm"
	if got, want := d.SetNames(), []string{a, a, b, b, a, a, "named"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// Cutting the cells by pickup gives each pickup the cells that splitting it off does.
func TestByPickup(t *testing.T) {
	d := &Data{Cells: []Cell{{Mounting: &Mounting{Pickup: "A", Session: "1"}}, {Mounting: &Mounting{Pickup: "A", Session: "2"}}, {Mounting: &Mounting{Pickup: "B", Session: "2"}}, {Mounting: &Mounting{Pickup: "C"}, String: 1}, {Mounting: &Mounting{Pickup: "C"}, String: 2}}}
	parts := d.ByPickup()
	if len(parts) != 3 {
		t.Fatalf("%d parts", len(parts))
	}
	for i, name := range d.Pickups() {
		if _, own := d.Split(name); !reflect.DeepEqual(parts[i], own) {
			t.Errorf("%s: got %v, want %v", name, parts[i], own)
		}
	}
	if got := len(d.Sessions()); got != 4 {
		t.Errorf("%d sessions", got)
	}
}
