package plan

import (
	"math"
	"slices"
	"testing"

	"evenpole/profiles"
)

// What if, by hand: 2 dB a mm of gap.
func TestWhatIf(t *testing.T) {
	o := order(3, 2, 0.05)
	o.FretboardRadius = 250
	other := profiles.StringSet{Name: "other", Strings: slices.Clone(o.Strings)}
	other.Strings[0].Gauge *= math.Pow(10, 3.0/20)
	m := line([]float64{0, 0, 0}, []float64{2, 2, 2}).independent(0.2, 0.2, 0.2)
	m.byGap, m.steel = true, true
	p := made(t, o, m, Options{})
	changes, err := WhatIf(t.Context(), o, m, Options{}, p, []profiles.StringSet{other, {Name: "of two", Strings: other.Strings[:2]}})
	if err != nil {
		t.Fatal(err)
	}
	byName := map[string]Change{}
	for _, c := range changes {
		byName[c.What] = c
	}
	for what, want := range map[string][]float64{
		"pickup +0.5 mm": {0, 0, 0},
		"pole 2 +0.1 mm": {-0.2 / 3, 0.4 / 3, -0.2 / 3},
		"strings other":  {2, -1, -1},
		"tilt: string 1's end +0.25 mm, the other -0.25 mm": {0.5, 0, -0.5},
	} {
		c, ok := byName[what]
		if !ok {
			t.Errorf("no %q in %d changes", what, len(changes))
			continue
		}
		for i := range want {
			closeTo(t, what, c.Change[i], want[i], 0.001)
		}
	}
	rounder := byName["fretboard radius 184.15 mm"]
	arc := func(r float64) float64 { return r - math.Sqrt(r*r-10.4*10.4) } // rise of the middle string
	closeTo(t, "rounder", rounder.Change[1], -2*(arc(184.15)-arc(250))*2/3, 0.001)
	if _, ok := byName["strings of two"]; ok {
		t.Error("a set of two strings was put over three poles")
	}
}

// What is planned stays as planned in every change: the magnets chosen, and the
// pickup where it is to hang.
func TestWhatIfKeepsThePlan(t *testing.T) {
	o := order(3, 0.2, 0.1)
	m := line([]float64{0, -1.2, 0.3}, []float64{2, 2, 2}).independent(0.1, 0.1, 0.1)
	m.magnets = map[string]float64{"a": 0, "b": 0.9, "c": -0.5}
	matched := Options{Stock: []string{"a", "b", "c"}}

	fixed := order(3, 2, 0.05)
	fixed.FixedHeights, fixed.PickupRaise, fixed.PickupLower = []float64{0.4, 0.4, 0.4}, 1, 1
	gaps := line([]float64{1, 0, -1}, []float64{2, 2, 2}).independent(0.1, 0.1, 0.1)
	gaps.byGap = true

	for _, c := range []struct {
		o   *profiles.Order
		m   bench
		opt Options
	}{{o, m, matched}, {fixed, gaps, Options{}}} {
		p := made(t, c.o, c.m, c.opt)
		changes, err := WhatIf(t.Context(), c.o, c.m, Options{}, p, nil)
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(changes, func(c Change) bool { return c.What == "pole 2 +0.1 mm" })
		for k, want := range []float64{-0.2 / 3, 0.4 / 3, -0.2 / 3} {
			closeTo(t, "pole 2", changes[i].Change[k], want, 0.001)
		}
	}
}

// A change that puts a pole into its string is left out, not an error.
func TestWhatIfLeavesOutTheImpossible(t *testing.T) {
	o := order(2, 2, 0.05)
	o.StringHeightFirst, o.StringHeightLast, o.MinGap, o.PoleHeightMin = 0.6, 0.6, 0.2, 0.3
	o.PoleHeightMax = 0.35
	m := line([]float64{0, 0}, []float64{2, 2})
	p := made(t, o, m, Options{})
	changes, err := WhatIf(t.Context(), o, m, Options{}, p, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range changes {
		if c.What == "pickup +0.5 mm" {
			t.Errorf("a pickup raised through its strings has a balance of %v", c.Balance)
		}
	}
}
