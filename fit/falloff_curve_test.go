package fit

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestFalloffGradient checks the analytic derivatives against differences.
func TestFalloffGradient(t *testing.T) {
	c := &curve{Wraps: []string{"nickel", "stainless"}}
	rng := rand.New(rand.NewPCG(1, 2))
	th := make([]float64, c.size())
	for j, p := range falloffPriors {
		th[j] = p.Mean + 0.3*rng.NormFloat64()*p.SD
	}
	for i, w := range c.Wraps {
		th[pFixed+i] = wrapPrior(w).Mean
	}
	grad := make([]float64, c.size())
	for i, s := range steels {
		at := &site{core: s.Core, gauge: s.Gauge, wrap: s.Wrap, height: 0.4 * float64(i), stringHeight: 4, velocity: 0.3, missing: 1}
		lift := c.gradient(grad, th, at, 0.02)
		const h = 1e-5
		for j := range th {
			was := th[j]
			th[j] = was + h
			up := c.predict(th, at, 0.02)
			th[j] = was - h
			down := c.predict(th, at, 0.02)
			th[j] = was
			if d := (up - down) / (2 * h); math.Abs(d-grad[j]) > 1e-7 {
				t.Errorf("string %d, %s: derivative %.9g, by differences %.9g", i+1, c.names()[j], grad[j], d)
			}
		}
		if d := (c.predict(th, at, 0.02+h) - c.predict(th, at, 0.02-h)) / (2 * h); math.Abs(d-lift) > 1e-6 {
			t.Errorf("string %d: slope with lift %.9g, by differences %.9g", i+1, lift, d)
		}
	}
}
