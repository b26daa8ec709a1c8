package curve

import "evenpole/profiles"

// At is a Curve at some parameters, for many sites: what follows from a string's steel
// alone is worked out once for all sites of such strings. It is not safe for use by
// several goroutines at once.
type At struct {
	curve  *Curve
	th     []float64
	steels map[profiles.Wrap]map[[2]float64]steel
}

// At is the curve at parameters that do not change as long as it is used.
func (c *Curve) At(th []float64) *At { return &At{c, th, map[profiles.Wrap]map[[2]float64]steel{}} }

// Linear returns Predict of a site and writes Gradient into dst; byLift is what Gradient
// returns. The string lies where it was said to.
func (a *At) Linear(dst []float64, s *Site) (value, byLift float64) {
	return a.curve.linear(dst, a.th, s, a.steel(s), 0)
}

func (a *At) steel(s *Site) steel {
	of := a.steels[s.Wrap]
	if of == nil {
		of = map[[2]float64]steel{}
		a.steels[s.Wrap] = of
	}
	key := [2]float64{s.Core, s.Gauge}
	found, ok := of[key]
	if !ok {
		found = a.curve.steelOf(a.th, s)
		of[key] = found
	}
	return found
}
