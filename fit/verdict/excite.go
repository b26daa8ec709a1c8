package verdict

import (
	"strings"

	"evenpole/fit/curve"
	"evenpole/fit/level"
	"evenpole/profiles"
)

// convert works out what to add to each level to convert the jig's excitation to the
// order's. A pickup senses velocity: with a fixed displacement a string's velocity is
// proportional to its frequency f; with a fixed force its displacement is inversely
// proportional to its tension (2 L f)^2 mu, by the ideal string; an exciter gives all
// strings the same velocity. An order that names no excitation is checked as the jig
// plucks, and as force when the jig drives.
func (c *check) convert() {
	if len(c.session.excites) > 1 {
		c.withhold("the session mixes kinds of excitation: capture again with one")
		return
	}
	have, want := c.v.Excite, c.order.Excite
	if want == "" && have == profiles.Drive {
		want = profiles.Force
		c.note("the jig drove the strings and the order does not say how it will be played: judged as %q", profiles.Force)
	}
	switch {
	case want == "" || want == have || len(c.session.strings) == 0:
		return
	case have == "":
		c.withhold("the record does not say how the strings were set moving, and the order is for %q", want)
		return
	}
	shift, lacks := c.shifts(have, want)
	if lacks != "" {
		c.withhold("levels for %q cannot be worked out from %q: %s", want, have, lacks)
		return
	}
	c.shift = shift
	c.v.Excite = want
	c.note("levels are the jig's (%q); balances are worked out for %q from the order's notes and strings, with a standard uncertainty of %.2g dB a string for it (our assumption)",
		have, want, c.opt.Conversion)
	if names := c.estimatedCores(); names != nil {
		c.note("the mass of %s is worked out with an estimated core", strings.Join(names, ", "))
	}
}

// shifts returns what to add to each string's level, dB, up to a constant; or
// what is lacking for it.
func (c *check) shifts(have, want profiles.Excitation) (shift []float64, lacks string) {
	shift = make([]float64, len(c.order.Strings))
	for i, s := range c.order.Strings {
		hz, err := profiles.Pitch(s.Note)
		if err != nil {
			return nil, c.name(i) + " has no note in the order"
		}
		mass := profiles.UnitMass(s)
		from, ok := curve.Velocity(have, hz, mass)
		to, good := curve.Velocity(want, hz, mass)
		if !ok || !good || !known(from) || !known(to) {
			return nil, c.name(i) + ": the excitation or the string's mass is not known"
		}
		shift[i] = float64(level.Ln(to - from).DB())
	}
	return shift, ""
}

// estimatedCores names the strings whose core is an estimate.
func (c *check) estimatedCores() []string {
	var names []string
	for i, s := range c.order.Strings {
		if s.CoreEstimated {
			names = append(names, c.name(i))
		}
	}
	return names
}
