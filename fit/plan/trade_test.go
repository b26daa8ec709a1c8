package plan_test

import (
	"context"
	"os"
	"slices"
	"testing"

	"evenpole/capture/record"
	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/plan"
	"evenpole/profiles"
)

// benchModel is a model of a bench's record, which knows nothing of the trade's
// rules. The record is described in testdata/README.md.
func benchModel(t testing.TB) fit.Predictor {
	t.Helper()
	f, err := os.Open("../../testdata/sample-shop/readings.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	d, err := cell.Gather(record.Readings(f, "readings.csv"))
	if err != nil {
		t.Fatal(err)
	}
	m, err := fit.OfKind(context.Background(), d, "falloff")
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// six is an order for a six-string with a wrap of the user's choice and a third
// string of 0.017 in, wound over 0.010 in or plain.
func six(radiusInch float64, wrap profiles.Wrap, woundThird bool) *profiles.Order {
	o := &profiles.Order{
		File: "order.toml", ID: "A-1", FretboardRadius: 25.4 * radiusInch, StringSpread: 51, ScaleLength: 648, PickupFromBridge: 95,
		Batch: "M-01", Poles: profiles.Rod, PoleHeightMax: 3, PoleHeightStep: 0.05, MinGap: 1.2,
		StringHeightFirst: 3, StringHeightLast: 3.4, Tolerance: 1.5,
	}
	for _, s := range []struct {
		note        string
		gauge, core float64 // inches
	}{{"E4", 0.010, 0}, {"B3", 0.013, 0}, {"G3", 0.017, 0.010}, {"D3", 0.026, 0.013}, {"A2", 0.036, 0.015}, {"E2", 0.046, 0.017}} {
		str := profiles.String{Note: s.note, Gauge: 25.4 * s.gauge, Core: 25.4 * s.core, Wrap: wrap}
		if s.core == 0 || s.note == "G3" && !woundThird {
			str.Core, str.Wrap = str.Gauge, "plain"
		}
		o.Strings = append(o.Strings, str)
	}
	return o
}

func planned(t testing.TB, o *profiles.Order, m fit.Predictor) *plan.Plan {
	t.Helper()
	p, err := plan.Make(t.Context(), o, m, plan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// What builders know (common practice) comes out of a model that was told none
// of it: over a round fretboard and nickel strings with a wound third of little
// steel, the tallest pole stands under the third; the same stagger under a plain
// third of that gauge makes the third far too loud; over a flat fretboard and
// steel-wrapped strings, flat tops come close.
func TestTheTradesStaggers(t *testing.T) {
	t.Run("handbook", func(t *testing.T) { tradesStaggers(t, fit.Handbook(profiles.Travel), 0.6, 1.25) })
	t.Run("record", func(t *testing.T) { tradesStaggers(t, benchModel(t), 0.45, 1) })
}

// tradesStaggers plans with a model. Over a flat fretboard under steel flat tops may be
// expected to be off by some share of what they are over a round one under nickel, and
// poles to stand apart by so many mm.
func tradesStaggers(t *testing.T, m fit.Predictor, share, poles float64) {
	const third = 2

	old := planned(t, six(7.25, "nickel", true), m)
	for i, h := range old.Heights {
		if i != third && h >= old.Heights[third] {
			t.Errorf("wound third: pole %d of %v is no lower than the third", i+1, old.Heights)
		}
	}

	plain := six(7.25, "nickel", false)
	plain.Compare = []profiles.Stagger{{Name: "for a wound third", Heights: old.Heights}}
	p := planned(t, plain, m)
	for i, d := range p.Compare[0].Deviation {
		if i == third && d < 4 || i != third && d > 0 {
			t.Errorf("plain third over the old stagger: deviations %.1f dB, want the third, and only it, far too loud", p.Compare[0].Deviation)
		}
	}
	if p.Heights[third] > old.Heights[third]-0.75 { // which would rather stand above its limit
		t.Errorf("plain third: pole at %.2f mm, want it far below %.2f", p.Heights[third], old.Heights[third])
	}

	level := planned(t, six(0, "nickel_plated_steel", false), m)
	apart := func(list []float64) float64 { return slices.Max(list) - slices.Min(list) }
	if here, there := apart(level.Flat.Deviation), apart(old.Flat.Deviation); here > there/2 { // what they are like, not how sure that is
		t.Errorf("flat tops: strings %.1f dB apart over a flat fretboard under steel, %.1f over a round one under nickel; want less than half", here, there)
	}
	if here, there := level.Flat.Worst, old.Flat.Worst; here > share*there {
		t.Errorf("flat tops: expected %.1f dB off over a flat fretboard under steel, %.1f over a round one under nickel; want %g of that at most", here, there, share)
	}
	if far := apart(level.Heights); far > poles || far > apart(old.Heights)/2 {
		t.Errorf("flat fretboard: poles of %v, want them within %g mm, and half as far apart as %v", level.Heights, poles, old.Heights)
	}
}

// twelve is an order for twelve strings in stock lengths, under four sets.
func twelve() *profiles.Order {
	o := six(12, "nickel_plated_steel", false)
	double := func(list []profiles.String, gauge float64) []profiles.String {
		var out []profiles.String
		for _, s := range list {
			s.Gauge, s.Core = s.Gauge*gauge, s.Core*gauge
			out = append(out, s, s)
		}
		return out
	}
	single := o.Strings
	o.Strings = double(single, 1)
	for i, wrap := range []profiles.Wrap{profiles.Nickel, profiles.Stainless, profiles.Bronze} {
		set := profiles.StringSet{Name: string(wrap), Strings: double(single, 0.95+0.05*float64(i))}
		for k := range set.Strings {
			if !set.Strings[k].Plain() {
				set.Strings[k].Wrap = wrap
			}
		}
		o.Alternatives = append(o.Alternatives, set)
	}
	o.PoleHeights = []float64{0, 0.4, 0.8, 1.2, 1.6, 2, 2.4}
	return o
}

func BenchmarkOrders(b *testing.B) {
	m := benchModel(b)
	for name, o := range map[string]*profiles.Order{
		"6 strings": six(9.5, "nickel_plated_steel", false), "12 strings, stock lengths, 4 sets": twelve(),
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				planned(b, o, m)
			}
		})
	}
}
