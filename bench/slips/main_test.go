package main

import (
	"io"
	"testing"

	"evenpole/fit"
)

// In a few shops that were not used to set anything, mistakes are found and
// little else. What a larger number of shops shows, main prints.
func TestScreenOverSimulatedShops(t *testing.T) {
	d := designs[2].design
	made := tally{}
	for seed := range uint64(4) {
		s := newShop(77000+seed, d)
		for i := range varieties {
			if err := made.seeded(io.Discard, s.copy(), varieties[i:i+1]); err != nil {
				t.Fatal(err)
			}
		}
	}
	all, found := 0, 0
	for k, c := range made {
		if k.kind != fit.DriftInSession { // 1.5 dB drown now and then in what poles and heights scatter
			all, found = all+c.made, found+c.found
		}
	}
	beyond := made.of(beyondMade, "").found
	if all < 60 || found-beyond < all*9/10 || beyond > all/20 {
		t.Errorf("found %d of %d, and %d that were not made", found-beyond, all, beyond)
	}
}

func TestScreenOverShopsWithoutMistakes(t *testing.T) {
	for _, d := range designs[:5] {
		for seed := range uint64(3) {
			data, err := fit.Gather(newShop(88000+seed, d.design).readings())
			if err != nil {
				t.Fatal(err)
			}
			if found := fit.Screen(data); len(found) > 0 {
				t.Errorf("%s, seed %d: %+v", d.name, 88000+seed, found)
			}
		}
	}
}
