package fit

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
)

// filled is a site whose every input has a value of its own, from seed on.
func filled(t *testing.T, seed float64) *site {
	t.Helper()
	s := &site{}
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
	s.gauge = s.core + 0.25
	return s
}

// TestHybridForgetsNothing fails when a site has an input that belongs to no
// cause: give it one in hybrid.
func TestHybridForgetsNothing(t *testing.T) {
	s := filled(t, 1)
	var of [siteCauses]*site
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
	f := drawnModel(rand.New(rand.NewPCG(7, 8)))
	heights := []float64{0.1, 0.9, 1.4, 2.1, 1.2, 0.3}
	a, b := f.site(&bench, 0, heights), f.site(&bench, 4, heights)
	var want [siteCauses]float64
	orders := 0.0
	permute([]int{}, func(order []int) {
		orders++
		var of [siteCauses]*site
		for c := range of {
			of[c] = b
		}
		was := f.predict(f.Theta, b, 0)
		for _, c := range order {
			of[c] = a
			h := hybrid(&of)
			is := f.predict(f.Theta, &h, 0)
			want[c] += is - was
			was = is
		}
	})
	got := f.versus(f.Theta, a, b)
	for c := range got {
		if d := got[c] - want[c]/orders; math.Abs(d) > 1e-12 {
			t.Errorf("%s: %.12f, by all orders %.12f", siteCauseNames[c].Name, got[c], want[c]/orders)
		}
	}
	back := f.versus(f.Theta, b, a)
	for c := range got {
		if math.Abs(got[c]+back[c]) > 1e-12 {
			t.Errorf("%s: %.12f one way, %.12f the other", siteCauseNames[c].Name, got[c], back[c])
		}
	}
}

// permute visits all orders of the causes.
func permute(begun []int, visit func([]int)) {
	if len(begun) == siteCauses {
		visit(begun)
		return
	}
	for c := range siteCauses {
		if !slices.Contains(begun, c) {
			permute(append(begun, c), visit)
		}
	}
}

// TestOneCauseAlone: where strings differ in one input only, its cause has all
// of the difference.
func TestOneCauseAlone(t *testing.T) {
	f := drawnModel(rand.New(rand.NewPCG(9, 10)))
	base := site{core: 0.3, gauge: 0.5, wrap: "nickel", height: 1, stringHeight: 4, velocity: 0.2, spacing: 10.4, missing: 1}
	for _, c := range []struct {
		cause  int
		change func(*site)
	}{
		{byWrap, func(s *site) { s.wrap = "stainless" }},
		{byVelocity, func(s *site) { s.velocity = 0.9 }},
		{byAxis, func(s *site) { s.stringHeight = 3.1 }},
		{byNeighbours, func(s *site) { s.missing = 0 }},
	} {
		other := base
		c.change(&other)
		parts := f.versus(f.Theta, &other, &base)
		all := f.predict(f.Theta, &other, 0) - f.predict(f.Theta, &base, 0)
		for k, v := range parts {
			want := 0.0
			if k == c.cause {
				want = all
			}
			if math.Abs(v-want) > 1e-12 || all == 0 {
				t.Errorf("%s changed: part of %s %.12f, want %.12f", siteCauseNames[c.cause].Name, siteCauseNames[k].Name, v, want)
			}
		}
	}
	higher := base
	higher.height = 1.8
	parts := f.versus(f.Theta, &higher, &base)
	if want := f.Theta[pProtrude] * 0.8; math.Abs(parts[byProtrusion]-want) > 1e-12 {
		t.Errorf("pole 0.8 mm higher: protrusion %.12f, want %.12f", parts[byProtrusion], want)
	}
}
