package curve

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenpole/profiles"
)

// TestFalloffGradient checks the analytic derivatives against differences.
func TestFalloffGradient(t *testing.T) {
	c := &Curve{Wraps: []profiles.Wrap{profiles.Nickel, profiles.Stainless}}
	rng := rand.New(rand.NewPCG(1, 2))
	th := make([]float64, c.Size())
	for j, p := range FixedPriors {
		th[j] = p.Mean + 0.3*rng.NormFloat64()*p.SD
	}
	for i, w := range c.Wraps {
		th[FixedParameters+i] = WrapPrior(w).Mean
	}
	grad := make([]float64, c.Size())
	for i, s := range []Site{
		{Core: 0.254, Gauge: 0.254, Wrap: profiles.Plain}, {Core: 0.330, Gauge: 0.330, Wrap: profiles.Plain}, {Core: 0.267, Gauge: 0.508, Wrap: profiles.Nickel},
		{Core: 0.330, Gauge: 0.660, Wrap: profiles.Stainless}, {Core: 0.368, Gauge: 0.914, Wrap: profiles.Nickel}, {Core: 0.419, Gauge: 1.168, Wrap: profiles.Nickel},
	} {
		at := &Site{Core: s.Core, Gauge: s.Gauge, Wrap: s.Wrap, Height: 0.4 * float64(i), StringHeight: 4, Velocity: 0.3, Missing: 1}
		lift := c.Gradient(grad, th, at, 0.02)
		const h = 1e-5
		for j := range th {
			was := th[j]
			th[j] = was + h
			up := c.Predict(th, at, 0.02)
			th[j] = was - h
			down := c.Predict(th, at, 0.02)
			th[j] = was
			if d := (up - down) / (2 * h); math.Abs(d-grad[j]) > 1e-7 {
				t.Errorf("string %d, %s: derivative %.9g, by differences %.9g", i+1, c.Names()[j], grad[j], d)
			}
		}
		if d := (c.Predict(th, at, 0.02+h) - c.Predict(th, at, 0.02-h)) / (2 * h); math.Abs(d-lift) > 1e-6 {
			t.Errorf("string %d: slope with lift %.9g, by differences %.9g", i+1, lift, d)
		}
	}
}
