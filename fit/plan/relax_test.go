package plan

import (
	"math"
	"slices"
	"testing"

	"evenpole/profiles"
)

// A limit that holds a string back is named, with what a step more would buy:
// the figures are those of a plan for the wider order.
func TestRelaxedLimits(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(o *profiles.Order)
		limit  string
		to     float64
		wider  func(o *profiles.Order)
	}{
		{"highest", func(o *profiles.Order) { o.PoleHeightMax = 0.5 }, "pole_height_max_mm", 0.55, func(o *profiles.Order) { o.PoleHeightMax = 0.55 }},
		{"lowest", func(o *profiles.Order) { o.PoleHeightMin, o.PoleHeightMax = 1, 1.4 }, "pole_height_min_mm", 0.95, func(o *profiles.Order) { o.PoleHeightMin = 0.95 }},
		{"gap", func(o *profiles.Order) { o.MinGap = 2.5 }, "min_gap_mm", 2.45, func(o *profiles.Order) { o.MinGap = 2.45 }},
		{"stock", func(o *profiles.Order) { o.PoleHeights = []float64{0, 0.2, 0.5} }, "pole_heights_mm", 0.8, func(o *profiles.Order) { o.PoleHeights = append(o.PoleHeights, 0.8) }},
	} {
		o := order(3, 2, 0.05)
		c.change(o)
		m := line([]float64{0, 4, 0}, []float64{2, 2, 2}).independent(0.2, 0.2, 0.2)
		p := made(t, o, m, Options{})
		i := slices.IndexFunc(p.Relaxed, func(r Relaxed) bool { return r.Limit == c.limit })
		if i < 0 {
			t.Errorf("%s: not in %+v", c.name, p.Relaxed)
			continue
		}
		r := p.Relaxed[i]
		c.wider(o)
		want := made(t, o, m, Options{})
		closeTo(t, c.name+": to", r.To, c.to, 1e-9)
		closeTo(t, c.name+": worst", r.Worst, want.Worst, equalWithin+0.005)
		closeTo(t, c.name+": gain", r.Gain, p.Worst-r.Worst, 1e-9)
		if r.Gain <= 0 {
			t.Errorf("%s: a gain of %.3f dB, want some", c.name, r.Gain)
		}
	}
}

// A length in stock between two others is named when it would serve, and a travel
// that is used up.
func TestRelaxedStockAndTravel(t *testing.T) {
	o := order(4, 2, 0)
	o.PoleHeights = []float64{0, 1, 2}
	m := line([]float64{0, -1, 0, 0}, []float64{2, 2, 2, 2}).independent(0.1, 0.1, 0.1, 0.1)
	p := made(t, o, m, Options{})
	if len(p.Relaxed) != 1 || p.Relaxed[0].Limit != "pole_heights_mm" || math.Abs(p.Relaxed[0].To-0.5) > 0.15 || p.Relaxed[0].Gain < 0.3 {
		t.Errorf("stock: got %+v for %v", p.Relaxed, p.Heights)
	}

	o = order(2, 2, 0.05)
	o.FixedHeights, o.PickupRaise, o.PickupLower = []float64{0.4, 0.4}, 0.2, 0.3
	m = line([]float64{0, 4}, []float64{2, 2}).independent(0.1, 0.1)
	m.byGap = true
	p = made(t, o, m, Options{})
	if len(p.Relaxed) != 2 || p.Relaxed[0].Limit != "pickup_raise_mm" || p.Relaxed[1].Limit != "pickup_lower_mm" {
		t.Fatalf("travel: got %+v for %+v", p.Relaxed, p.Move)
	}
	for _, r := range p.Relaxed { // 0.1 mm more is worth 0.2 dB between two strings, half of it to either
		closeTo(t, r.Limit, r.Gain, 0.1, 0.005)
	}
}

// A limit does not hold a string that another set wants the other way: string 2
// is 2 dB too soft under the order's strings at the highest pole, 2 dB too loud
// under the others. What a wider limit would buy counts the set that suits least.
func TestSetsThatPullApartAreNotHeld(t *testing.T) {
	o := order(2, 0.5, 0.05)
	other := slices.Clone(o.Strings)
	other[1].Gauge *= math.Pow(10, 8.0/20)
	o.Alternatives = []profiles.StringSet{{Name: "other", Strings: other}}
	m := line([]float64{0, -5}, []float64{2, 2}).independent(0.1, 0.1)
	m.steel = true
	p := made(t, o, m, Options{})
	if p.Heights[1] != 0.5 || len(p.Relaxed) != 0 || warned(p, "keeps its pole") {
		t.Errorf("the sets stand against each other at %v: got %+v, %q", p.Heights, p.Relaxed, p.Warnings)
	}

	other[1].Gauge = o.Strings[1].Gauge * math.Pow(10, -1.0/20) // now the other set lacks most
	p = made(t, o, m, Options{})
	if len(p.Relaxed) != 2 {
		t.Fatalf("got %+v, want both limits", p.Relaxed)
	}
	for _, r := range p.Relaxed { // 0.05 mm at 2 dB a mm, half of it to either string
		closeTo(t, r.Limit+": gain", r.Gain, 0.05, 0.002)
		closeTo(t, r.Limit+": worst", r.Worst, p.Sets[0].Worst-r.Gain, 1e-9)
	}
}

// An order that fits has no limits to relax.
func TestNothingToRelax(t *testing.T) {
	o, m := usual()
	if p := made(t, o, m, Options{}); len(p.Relaxed) != 0 {
		t.Errorf("got %+v", p.Relaxed)
	}
}
