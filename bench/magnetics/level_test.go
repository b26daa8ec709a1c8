package magnetics

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"evenpole/fit/field"
	"evenpole/fit/field/fieldtest"
)

// ordinary is steel as the field solver of testdata has it.
var ordinary = Steel{Saturation: 1.9, Permeability: 100, Turned: 0.72, Turning: 2.9e3}

// pickupOf is a case of testdata/field_solver, with its poles at a height, and the
// steel of its strings.
func pickupOf(kase string, height float64) (*Pickup, int, Steel) {
	rod, steel := Rod{Radius: 4.76 / 2, Length: 16.5, Permeability: 4, Remanence: 1.25}, ordinary
	poles, string3 := 1, 0
	switch kase {
	case "weak":
		rod.Remanence = 0.85
	case "hard":
		rod.Permeability, rod.Remanence = 1.05, 0.802
	case "tanh30":
		steel = Steel{Saturation: 1.6, Permeability: 30, Knee: 2.6}
	case "row3", "row3_weak":
		poles, string3 = 6, 2
		if kase == "row3_weak" {
			rod.Remanence = 0.85
		}
	}
	all := make([]Pole, poles)
	for i := range all {
		all[i] = Pole{height, 1}
	}
	return NewBobbin(rod, Coil{2.95, 5.8, 1.8, 12.5}, 10.4).Pickup(all), string3, steel
}

// TestFieldSolver compares with another field solver: but for a zero, plain strings
// agree to 0.6 dB from 1 to 6 mm in every case that both compute, most of which is the
// steel's curve, whose formula differs; wound ones, whose turns the other cuts
// otherwise, to 1.2 dB.
func TestFieldSolver(t *testing.T) {
	const zero, thick = 81.5, 0.5 // dB; mm: wound strings are thicker
	pickups, places, steels := map[string]*Pickup{}, map[string]int{}, map[string]Steel{}
	for _, solved := range fieldtest.Levels(t) {
		kase := solved.Case
		if kase == "row3_rev_weak" {
			continue
		}
		at := fmt.Sprint(kase, solved.Height)
		if pickups[at] == nil {
			pickups[at], places[kase], steels[kase] = pickupOf(kase, solved.Height)
		}
		s := String{Gauge: solved.Gauge, Core: solved.Core}
		s.Steel, s.Wrap = steels[kase], Steel{Saturation: 2.2, Permeability: 27}
		got := 20/math.Ln10*pickups[at].Level(&s, places[kase], solved.Height+solved.Gap+s.Gauge/2) - zero
		limit := 0.6
		if s.Gauge > thick {
			limit = 1.2
		}
		if math.Abs(got-solved.DB) > limit {
			t.Errorf("%s, %s mm, pole at %g mm, gap %g mm: %.2f dB, by the other %.2f", kase, solved.String, solved.Height, solved.Gap, got, solved.DB)
		}
	}
}

// TestHardRodIsExact: the field of a rod of permeability 1 is Derby and Olbert's, from a
// gap of 0.8 mm on; to a neighbour it is to leading order.
func TestHardRodIsExact(t *testing.T) {
	rod := Rod{Radius: 2.4, Length: 16, Permeability: 1, Remanence: 0.6}
	p := NewBobbin(rod, Coil{3, 5, 2, 10}, 10).Pickup([]Pole{{0.5, 1}})
	exact := field.Rod{Radius: 2.4, Length: 16, Remanence: 0.6}
	for _, at := range [][2]float64{{0, 0.8}, {1.5, 1.2}, {3, 2}, {0.2, 4}, {9, 3}, {25, 3}} {
		out, up := exact.At(at[0], at[1])
		got, _ := p.At(0, at[0], at[1]+0.5)
		limit := 0.02
		if at[0] > 7 { // on a neighbour's side
			limit = 0.03
		}
		if d := math.Hypot(got[1]-out, got[2]-up); d > limit*math.Hypot(out, up) {
			t.Errorf("%g mm off the axis, %g mm up: %.6f and %.6f T, exactly %.6f and %.6f", at[0], at[1], got[1], got[2], out, up)
		}
	}
}

// TestChargesAddUpToNothing: a rod has no more of one charge than of the other.
func TestChargesAddUpToNothing(t *testing.T) {
	p, _, _ := pickupOf("row3", 1.2)
	for _, charges := range [][][]float64{p.magnet, p.iron} {
		for i, all := range charges {
			sum, size := 0.0, 0.0
			for _, q := range all {
				sum, size = sum+q, size+math.Abs(q)
			}
			if math.Abs(sum) > 0.005*size {
				t.Errorf("pole %d: charges of %.4g add up to %.4g", i+1, size, sum)
			}
		}
	}
}

// TestDemagnetisation: a thin long string in an even field is magnetised as that field
// and its permeability say; a stretch magnetised by a field that turns every few
// diameters is held back.
func TestDemagnetisation(t *testing.T) {
	b := newBody(&String{Gauge: 0.4, Core: 0.4, Steel: Steel{Saturation: 2, Permeability: 50}})
	even, near := make([]float64, len(b.y)), make([]float64, len(b.y))
	for k, y := range b.y {
		even[k] = 1e-5
		if y < 2 {
			near[k] = 1e-5
		}
	}
	full, part := b.magnetise(even), b.magnetise(near)
	middle := len(b.y) / 2
	if got := full.core.j[middle] / (49 * 1e-5); math.Abs(got-1) > 0.03 {
		t.Errorf("%g mm from the pole in an even field: %.3f of what it should be", b.y[middle], got)
	}
	if got := part.core.j[3] / (49 * 1e-5); got > 0.7 || got < 0.05 {
		t.Errorf("in a field over 4 mm: %.3f of what a long string takes", got)
	}
	for i := range b.y { // the answer agrees with itself
		h := even[i]
		for k := range b.y {
			h += b.core[i*len(b.y)+k] * full.core.j[k]
		}
		if math.Abs(h-full.inside[i]) > 1e-7 {
			t.Errorf("segment %d: field inside %.3g, by its polarisation %.3g", i, full.inside[i], h)
		}
	}
}

// TestPublishedLaws: output follows a plain string's cross-section (J. Audio Eng. Soc.
// 65, 711, 2017), and falls with the gap nearly as an exponential (J. Audio Eng. Soc. 60,
// 768, 2012), in worlds drawn at random.
func TestPublishedLaws(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 4 {
		w := Draw(r)
		p := NewBobbin(w.Rod, w.Coil, 10.4).Pickup([]Pole{{0.5, 1}, {0.5, 1}, {0.5, 1}})
		level := func(d, gap float64) float64 { return p.Level(w.String(d, d, "plain"), 1, 0.5+gap) }
		if power := (level(0.45, 3) - level(0.25, 3)) / math.Log(0.45/0.25); math.Abs(power-2) > 0.25 {
			t.Errorf("%+v: level as diameter to the power of %.2f", w, power)
		}
		near, far := level(0.33, 2)-level(0.33, 3), level(0.33, 4)-level(0.33, 5)
		if near < 0.15 || near > 0.9 || far < 0.5*near || far > 1.5*near {
			t.Errorf("%+v: falls by %.2f from 2 to 3 mm, by %.2f from 4 to 5 mm", w, near, far)
		}
	}
}

// TestCurve: the slope is the curve's, and small changes are at most as steep.
func TestCurve(t *testing.T) {
	for _, s := range []Steel{ordinary, {Saturation: 1.6, Permeability: 30, Knee: 2.6, Reversible: 1}, {}} {
		for _, b := range []float64{-0.02, 1e-6, 1e-3, 0.005, 0.1, 1} {
			const h = 1e-7
			up, _, _ := s.curve(b + h)
			down, _, _ := s.curve(b - h)
			_, slope, small := s.curve(b)
			if d := (up - down) / (2 * h); math.Abs(d-slope) > 1e-3*(1+math.Abs(d)) || small > slope {
				t.Errorf("%+v in %g T: slope %.5g, by differences %.5g; for small changes %.5g", s, b, slope, d, small)
			}
		}
	}
}

func BenchmarkPickup(b *testing.B) {
	bobbin := NewBobbin(Rod{4.76 / 2, 16.5, 4, 1.25}, Coil{2.95, 5.8, 1.8, 12.5}, 10.4)
	for b.Loop() {
		bobbin.Pickup(make([]Pole, 6))
	}
}

func BenchmarkLevel(b *testing.B) {
	p, i, steel := pickupOf("row3", 1)
	s := &String{Gauge: 0.66, Core: 0.33, Steel: steel, Wrap: Steel{Saturation: 2, Permeability: 27}}
	for b.Loop() {
		p.Level(s, i, 3)
	}
}
