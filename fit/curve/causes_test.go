package curve

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"evenpole/profiles"
)

// filled is a site whose every input has a value of its own, from seed on.
func filled(t *testing.T, seed float64) *Site {
	t.Helper()
	s := &Site{}
	v := reflect.ValueOf(s).Elem()
	for i := range v.NumField() {
		name := v.Type().Field(i).Name
		field := reflect.NewAt(v.Field(i).Type(), v.Field(i).Addr().UnsafePointer()).Elem()
		switch field.Kind() {
		case reflect.Float64:
			field.SetFloat(seed + float64(i)/8)
		case reflect.Int:
			field.SetInt(int64(seed))
		case reflect.Bool:
			field.SetBool(true)
		case reflect.String:
			field.SetString("nickel")
		default:
			t.Fatalf("site has an input %q of a kind that this test does not know: teach it", name)
		}
	}
	s.Gauge = s.Core + 0.25
	return s
}

// TestHybridForgetsNothing fails when a site has an input that belongs to no
// cause: give it one in hybrid.
func TestHybridForgetsNothing(t *testing.T) {
	s := filled(t, 1)
	var of [numCauses]*Site
	for c := range of {
		of[c] = s
	}
	h := hybrid(&of)
	got, want := reflect.ValueOf(h), reflect.ValueOf(*s)
	for i := range want.NumField() {
		g, w := got.Field(i), want.Field(i)
		same := g.Equal(w)
		if w.Kind() == reflect.Float64 {
			same = math.Abs(g.Float()-w.Float()) < 1e-12
		}
		if !same {
			t.Errorf("input %s: %v became %v", want.Type().Field(i).Name, w, g)
		}
	}
}

// TestVersusIsShapley compares with a slow formula: the mean over all orders
// of the causes.
func TestVersusIsShapley(t *testing.T) {
	c, th := drawn(rand.New(rand.NewPCG(7, 8)))
	a := &Site{Core: 0.254, Gauge: 0.254, Wrap: profiles.Plain, Height: 0.1, StringHeight: 3, Velocity: 0.5, Missing: 1, Spacing: 10.2}
	b := &Site{Core: 0.368, Gauge: 0.914, Wrap: profiles.Nickel, Height: 1.2, StringHeight: 3.7, Velocity: -0.6, Spacing: 10.2, Field: 0.04}
	var want [numCauses]float64
	orders := 0.0
	permute([]int{}, func(order []int) {
		orders++
		var of [numCauses]*Site
		for cause := range of {
			of[cause] = b
		}
		was := c.Predict(th, b, 0)
		for _, cause := range order {
			of[cause] = a
			h := hybrid(&of)
			is := c.Predict(th, &h, 0)
			want[cause] += is - was
			was = is
		}
	})
	got := c.splitDifference(th, a, b)
	for k := range got {
		if d := got[k] - want[k]/orders; math.Abs(d) > 1e-12 {
			t.Errorf("%s: %.12f, by all orders %.12f", Causes[k].Name, got[k], want[k]/orders)
		}
	}
	back := c.splitDifference(th, b, a)
	for k := range got {
		if math.Abs(got[k]+back[k]) > 1e-12 {
			t.Errorf("%s: %.12f one way, %.12f the other", Causes[k].Name, got[k], back[k])
		}
	}
}

// permute visits all orders of the causes.
func permute(begun []int, visit func([]int)) {
	if len(begun) == numCauses {
		visit(begun)
		return
	}
	for c := range numCauses {
		if !slices.Contains(begun, c) {
			permute(append(begun, c), visit)
		}
	}
}

// TestOneCauseAlone: where strings differ in one input only, its cause has all
// of the difference.
func TestOneCauseAlone(t *testing.T) {
	curve, th := drawn(rand.New(rand.NewPCG(9, 10)))
	base := Site{Core: 0.3, Gauge: 0.5, Wrap: "nickel", Height: 1, StringHeight: 4, Velocity: 0.2, Spacing: 10.4, Missing: 1}
	for _, c := range []struct {
		cause  int
		change func(*Site)
	}{
		{wrapCause, func(s *Site) { s.Wrap = "stainless" }},
		{VelocityCause, func(s *Site) { s.Velocity = 0.9 }},
		{axisCause, func(s *Site) { s.StringHeight = 3.1 }},
		{neighboursCause, func(s *Site) { s.Missing = 0 }},
	} {
		other := base
		c.change(&other)
		parts := curve.splitDifference(th, &other, &base)
		all := curve.Predict(th, &other, 0) - curve.Predict(th, &base, 0)
		for k, v := range parts {
			want := 0.0
			if k == c.cause {
				want = all
			}
			if math.Abs(v-want) > 1e-12 || all == 0 {
				t.Errorf("%s changed: part of %s %.12f, want %.12f", Causes[c.cause].Name, Causes[k].Name, v, want)
			}
		}
	}
	higher := base
	higher.Height = 1.8
	parts := curve.splitDifference(th, &higher, &base)
	of := curve.steel(th, &base)
	fall := (of.gapTerm(base.Gap()) + of.gapTerm(higher.Gap())) / 2 // before the gap changes, and after
	if want := 0.8 * (th[Protrusion] + th[HeightSlope]*fall); math.Abs(parts[protrusionCause]-want) > 1e-12 {
		t.Errorf("pole 0.8 mm higher: protrusion %.12f, want %.12f", parts[protrusionCause], want)
	}
}

// drawn is a curve with parameters drawn from their priors.
func drawn(rng *rand.Rand) (*Curve, []float64) {
	c := &Curve{Wraps: []profiles.Wrap{profiles.Nickel, profiles.Stainless}, Excite: profiles.Travel, Pitch: true}
	var th []float64
	for _, p := range c.Priors() {
		th = append(th, p.Mean+p.SD*rng.NormFloat64())
	}
	return c, th
}
