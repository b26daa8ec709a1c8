package curve

import (
	"math"
	"slices"
	"testing"

	"evenpole/profiles"

	"gonum.org/v1/gonum/floats"
)

// Prediction and derivatives of many sites are those of each alone, whether its steel was
// seen before or not.
func TestAtAgreesWithPredictAndGradient(t *testing.T) {
	c := Curve{Wraps: []profiles.Wrap{profiles.Nickel}, Excite: profiles.Travel, Pitch: true}
	var th []float64
	for _, p := range c.Priors() {
		th = append(th, p.Mean+p.SD/3)
	}
	at := c.At(th)
	same := func(a, b float64) bool { return math.Abs(a-b) <= 1e-13*max(1, math.Abs(b)) }
	for _, s := range []Site{
		{Core: 0.25, Gauge: 0.25, Wrap: profiles.Plain, Height: 1, StringHeight: 3, Velocity: 0.3},
		{Core: 0.25, Gauge: 0.25, Wrap: profiles.Plain, Height: 2, StringHeight: 4, Velocity: -0.3, Missing: 1, Field: 0.1},
		{Core: 0.4, Gauge: 1, Wrap: profiles.Nickel, Height: 2, StringHeight: 4},
		{Core: 0.4, Gauge: 1, Wrap: profiles.Bronze, Height: 2, StringHeight: 4},
		{Core: 0.4, Gauge: 1, Wrap: profiles.Nickel, Height: 9, StringHeight: 1, Missing: 2},
	} {
		got, want := make([]float64, c.Size()), make([]float64, c.Size())
		value, lift := at.Linear(got, &s, 0)
		if w := c.Gradient(want, th, &s, 0); !same(lift, w) || !same(value, c.Predict(th, &s, 0)) {
			t.Errorf("%+v: %.15g and %.15g, want %.15g and %.15g", s, value, lift, c.Predict(th, &s, 0), w)
		}
		row, place, steels := make([]float64, c.Size()), Place{s.Height, s.StringHeight, s.Velocity, s.Field}, c.Steels(th, []*Site{&s})
		offset, byLift := steels.Row(row, 0, place, 0, steels.LogReach(0, place, 0))
		if v := offset + floats.Dot(row, th); !same(v, value) || !same(byLift, lift) || !slices.EqualFunc(row, got, same) {
			t.Errorf("%+v: %.15g and %.15g of place and string, want %.15g and %.15g; derivatives %v, want %v", s, v, byLift, value, lift, row, got)
		}
		if v := steels.Predict(0, place, 0); !same(v, value) {
			t.Errorf("%+v: %.15g of place and string, want %.15g", s, v, value)
		}
		for k := range want {
			if !same(got[k], want[k]) {
				t.Errorf("%+v: derivative %d is %.15g, want %.15g", s, k, got[k], want[k])
			}
		}
	}
}
