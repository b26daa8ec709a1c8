package record

import (
	"strings"
	"testing"

	"evenpole/profiles"
)

// TestLayoutsAreRecorded: what a mount says of a second coil and of what is under the
// strings comes into the rows, and back out of a file; a record of before takes all other
// pickups, and says which column it lacks for this one.
func TestLayoutsAreRecorded(t *testing.T) {
	m := &profiles.Mount{
		Pickup: "H-1", PoleHeights: []float64{0.2}, StringHeights: []float64{3}, Under: profiles.UnderBlade,
		Second:  &profiles.SecondRow{PoleHeights: []float64{-0.5}, Gain: -0.81234},
		Strings: []profiles.String{{Gauge: 0.25, Core: 0.25, Wrap: profiles.Plain}},
	}
	r := Reading{String: 1, RMS: 5}
	if !r.SetMount(m) {
		t.Fatal("not set")
	}
	file := strings.Join(readingColumns.Names, ",") + "\r\n" + strings.Join(readingColumns.Row(&r), ",") + "\r\n"
	for got, err := range Readings(strings.NewReader(file), "r.csv") {
		if err != nil {
			t.Fatal(err)
		}
		if got.Under != profiles.UnderBlade || got.PoleHeight2 != -0.5 || got.Gain2 != "-0.8123" || !got.TwoCoils() {
			t.Errorf("got %+v", got)
		}
	}
	m.Under, m.Second = "", nil
	plain := r
	plain.SetMount(m)
	s := mustShop(t, map[string]string{ReadingsFile: header + "\r\n"})
	if err := s.AddReading(&plain); err != nil {
		t.Errorf("a record of before refuses an ordinary pickup: %v", err)
	}
	if err := s.AddReading(&r); err == nil || !strings.Contains(err.Error(), `the file has no column "under"`) {
		t.Errorf("got %v", err)
	}
}
