package verdict

import (
	"math"
	"strings"

	"evenpole/profiles"
)

// How a string is set moving.
const (
	travel = "travel" // released from a fixed displacement
	force  = "force"  // breaks away at a fixed force
	drive  = "drive"  // an exciter sets what it sets
)

// convert works out what to add to each level to go from the jig's excitation
// to the order's. A pickup senses velocity: a fixed displacement moves a string
// in proportion to its frequency f; a fixed force gives a displacement in
// inverse proportion to its tension (2 L f)^2 mu, by the ideal string; an
// exciter gives all strings the same. An order that names none is judged as the
// jig plucks, and as force when the jig drives.
func (c *check) convert() {
	if len(c.session.excites) > 1 {
		c.hold("the session mixes kinds of excitation: capture again with one")
		return
	}
	have, want := c.v.Excite, c.order.Excite
	if want == "" && have == drive {
		want = force
		c.note("the jig drove the strings and the order does not say how it will be played: judged as %q", force)
	}
	switch {
	case want == "" || want == have || len(c.session.strings) == 0:
		return
	case have == "":
		c.hold("the record does not say how the strings were set moving, and the order is for %q", want)
		return
	}
	shift, lacks := c.shifts(have, want)
	if lacks != "" {
		c.hold("levels for %q cannot be worked out from %q: %s", want, have, lacks)
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
func (c *check) shifts(have, want string) (shift []float64, lacks string) {
	shift = make([]float64, len(c.order.Strings))
	for i, s := range c.order.Strings {
		hz, err := profiles.Pitch(s.Note)
		if err != nil {
			return nil, c.name(i) + " has no note in the order"
		}
		mass := profiles.UnitMass(s)
		from, ok := velocity(have, hz, mass)
		to, good := velocity(want, hz, mass)
		if !ok || !good || !known(from) || !known(to) {
			return nil, c.name(i) + ": the excitation or the string's mass is not known"
		}
		shift[i] = to - from
	}
	return shift, ""
}

// velocity returns a string's velocity in dB, up to a constant that all strings
// of one instrument share (the scale length is in it).
func velocity(excite string, hz, kgPerM float64) (db float64, ok bool) {
	switch excite {
	case travel:
		return 20 * math.Log10(hz), true
	case force:
		return -20 * math.Log10(hz*kgPerM), true
	case drive:
		return 0, true
	}
	return 0, false
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
