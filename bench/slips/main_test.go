package main

import (
	"io"
	"testing"

	"evenpole/fit/screen"
	"evenpole/shop"
)

// In a few shops that were not used to set anything, mistakes are found and
// little else. What a larger number of shops shows, main prints. Drifts are not
// counted: 1.5 dB drown now and then in what poles and heights scatter.
func TestScreenOverSimulatedShops(t *testing.T) {
	counts := tally{}
	for seed := range uint64(4) {
		s := newShop(77000+seed, designs[2].design)
		for i := range varieties {
			if err := counts.seeded(io.Discard, s.copy(), varieties[i:i+1]); err != nil {
				t.Fatal(err)
			}
		}
	}
	made, found, beyond := 0, 0, 0
	for k, c := range counts {
		switch {
		case k.kind == screen.DriftInSession:
		case k.about == beyondMade:
			beyond += c.found
		default:
			made, found = made+c.made, found+c.found
		}
	}
	if made < 60 || found < made*9/10 || beyond > made/20 {
		t.Errorf("found %d of %d, and %d that were not made", found, made, beyond)
	}
}

// One false alarm in a thousand cells is what may be.
func TestScreenOverShopsWithoutMistakes(t *testing.T) {
	cells, alarms := 0, 0
	for _, d := range designs[:5] {
		for seed := range uint64(3) {
			data, err := shop.Cells(t.Context(), shop.Source{Readings: newShop(88000+seed, d.design).readings()})
			if err != nil {
				t.Fatal(err)
			}
			cells += len(data.Cells)
			alarms += len(data.Suspects)
		}
	}
	if cells < 800 || alarms > 1 {
		t.Errorf("%d false alarms in %d cells", alarms, cells)
	}
}
