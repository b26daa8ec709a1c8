package main

import (
	"slices"
	"testing"
)

// TestPlansServe: pickups that were built to plans in shops whose truth the
// model does not know come out more even than those of any rule of thumb, from a
// full record, from one test pickup and from none; and the full record's come
// close to the best possible.
func TestPlansServe(t *testing.T) {
	plansServe(t, map[string]float64{"full": 0.4, "one": 0.5, "none": 0.8})
}

// TestPlansServeSolvedWorlds: so they do where raised poles gain so little that the best
// possible is farther from even.
func TestPlansServeSolvedWorlds(t *testing.T) {
	*physics = "solved"
	defer func() { *physics = "jig" }()
	plansServe(t, map[string]float64{"full": 0.5, "none": 0.9})
}

// plansServe builds to plans. better is by record the most that they may spread by beside
// the better rule of thumb.
func plansServe(t *testing.T, better map[string]float64) {
	t.Helper()
	median := func(out []outcome, f func(o outcome) float64) float64 {
		var v []float64
		for _, o := range out {
			v = append(v, f(o))
		}
		slices.Sort(v)
		return v[len(v)/2]
	}
	for name, better := range better {
		out := slices.Concat(run(101, designs[name], 8, 0), run(102, designs[name], 8, 0), run(103, designs[name], 8, 0))
		built := median(out, func(o outcome) float64 { return o.built })
		arc := median(out, func(o outcome) float64 { return o.radius })
		flat := median(out, func(o outcome) float64 { return o.flat })
		regret := median(out, func(o outcome) float64 { return o.built - o.best })
		held := 0
		for _, o := range out {
			held += int(b2f(o.built < o.said[1]))
		}
		t.Logf("%s: built %.2f dB, arc %.2f, flat %.2f, %.2f over the best possible; %d of %d below the end of their intervals", name, built, arc, flat, regret, held, len(out))
		if built > better*min(arc, flat) || name == "full" && regret > 0.4 || held < len(out)-3 {
			t.Errorf("%s: built %.2f dB, strings' arc %.2f dB, flat %.2f dB, regret %.2f dB, %d of %d within what was said", name, built, arc, flat, regret, held, len(out))
		}
	}
}

// TestOwnKindsHandbook: the median plan without a record comes closer to the best possible where
// other shops of its physics wrote the handbook.
func TestOwnKindsHandbook(t *testing.T) {
	regret := func() float64 {
		var all []float64
		for seed := range uint64(4) {
			for _, o := range run(seed+1, designs["none"], 8, 0) {
				all = append(all, o.built-o.best)
			}
		}
		slices.Sort(all)
		return all[len(all)/2]
	}
	by := regret()
	was := handbook
	defer func() { handbook = was }()
	handbook = taught(12, "jig")
	own := regret()
	t.Logf("regret %.2f dB by the handbook of its own kind, %.2f by the program's", own, by)
	if own > 0.8*by {
		t.Errorf("regret %.2f dB by the handbook of its own kind, want less than four fifths of %.2f", own, by)
	}
}
