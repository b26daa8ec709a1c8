package curve

import "evenpole/profiles"

// At is a Curve at some parameters, for many sites: what follows from a string's steel
// alone is worked out once for all sites of such strings. It is not safe for use by
// several goroutines at once.
type At struct {
	curve *Curve
	th    []float64
	known []knownSteel
	place map[steelKey]int // in known
	next  int              // place that is tried first: strings mostly follow each other in the same order
}

type steelKey struct {
	core, gauge float64
	wrap        profiles.Wrap
}

type knownSteel struct {
	steelKey
	steel
}

// At is the curve at parameters that do not change as long as it is used.
func (c *Curve) At(th []float64) *At { return &At{curve: c, th: th, place: map[steelKey]int{}} }

// Linear returns Predict of one site whose string lies lift mm higher than it was said to,
// and writes Gradient into dst; byLift is what Gradient returns.
func (a *At) Linear(dst []float64, s *Site, lift float64) (value, byLift float64) {
	return linear(dst, a.th, s, a.steel(s), lift)
}

func (a *At) steel(s *Site) *steel {
	key := steelKey{s.Core, s.Gauge, s.Wrap}
	if a.next == len(a.known) || a.known[a.next].steelKey != key {
		at, ok := a.place[key]
		if !ok {
			at = len(a.known)
			a.place[key] = at
			a.known = append(a.known, knownSteel{key, a.curve.steel(a.th, s)})
		}
		a.next = at
	}
	found := &a.known[a.next]
	a.next = (a.next + 1) % len(a.known)
	return &found.steel
}

// Linear returns Predict of one site and writes Gradient into dst; byLift is what Gradient
// returns. The string lies where it was said to.
func (c *Curve) Linear(dst, th []float64, s *Site) (value, byLift float64) {
	of := c.steel(th, s)
	return linear(dst, th, s, &of, 0)
}
