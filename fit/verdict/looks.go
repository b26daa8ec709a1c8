package verdict

import (
	"math"

	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// laterShare is the share of the risk of passing, or failing, wrongly that the first
// look leaves to all later ones (our choice): it makes the guard band of the first some
// 5 % wider than U.
const laterShare = 0.2

// riskShare is the share of the risk that a look may take, counted from 1. All looks
// together take no more than the whole, however many there are: K. K. G. Lan, D. L.
// DeMets, Discrete sequential boundaries for clinical trials, Biometrika 70, 659 (1983)
// (cited from memory), with a spending function that leaves half of what is left to the
// next look. Each look judges by its own takes or by more of the same session, in
// mountings that may be the same or not, so the limits are those that hold whatever
// looks have in common (Bonferroni's).
func riskShare(look int) float64 {
	const most = 40 // further looks take as little as this one, for rounding's sake
	if look == 1 {
		return 1 - laterShare
	}
	return laterShare / math.Exp2(float64(min(look, most)-1))
}

// guardCoverage is the coverage of an expanded uncertainty that is the guard band of a
// look, when all looks together may pass wrongly as often as one with coverage would.
func guardCoverage(coverage float64, look int) float64 {
	return 1 - (1-coverage)*riskShare(look)
}

// WidestGuard is the widest guard band of the strings, dB; unknown when there is none.
func (v *Verdict) WidestGuard() level.Figure {
	widest := level.Figure(math.NaN())
	for i := range v.Strings {
		if g := v.Strings[i].Guard; g.Known() && !(g <= widest) {
			widest = g
		}
	}
	return widest
}

// guard works out the guard bands for the number of looks.
func (c *check) guard() {
	c.v.GuardCoverage = guardCoverage(c.opt.Coverage, c.v.Looks)
	for i := range c.v.Strings {
		if s := &c.v.Strings[i]; s.Std.Known() {
			s.Guard = s.Std * level.Figure(solve.CoverageFactor(float64(s.DOF), c.v.GuardCoverage))
		}
	}
	if c.budget == nil || len(c.v.Strings) == 1 {
		return
	}
	c.note("look %d at this pickup as it is: a string is passed or failed only when it is clear of the tolerance by its guard band, as ISO 14253-1 and JCGM 106:2012 have it, the expanded uncertainty at %.4g %% coverage; so all looks together, and not each, pass or fail a string at its limit wrongly with a chance of %.3g %% at most",
		c.v.Looks, 100*c.v.GuardCoverage, 50*(1-c.opt.Coverage))
}

// countLooks counts how often the pickup could have been judged by the record as it
// grew: once a session, and once more for every capture that added takes to one.
func (c *check) countLooks(sessions []*session) {
	c.v.Looks = 1
	for _, s := range sessions {
		past := s.rounds
		if s != c.session {
			past = append(past, s)
		}
		for _, p := range past {
			if c.lookedAt(p) {
				c.v.Looks++
			}
		}
	}
}

// lookedAt reports whether a session could have told of the pickup as it is now. One
// with other poles, strings or string heights is of something else.
func (c *check) lookedAt(past *session) bool {
	p := newCheck(c.order, past, c.opt)
	p.compareMount()
	p.convert()
	if p.withheld || p.v.Batch != c.v.Batch {
		return false
	}
	most := 0
	for i := range c.v.Strings {
		a, b := &p.v.Strings[i], &c.v.Strings[i]
		if a.Takes == 0 || !sameMounting(a, b) {
			return false
		}
		most = max(most, a.Takes)
	}
	return most > 1 // one take a string shows no scatter, and tells nothing
}

// sameMounting reports whether two mountings of a string are the same but for what does
// not count. What is not known is the same.
func sameMounting(a, b *String) bool {
	differ := func(x, y level.Figure, most float64) bool { return math.Abs(float64(x-y)) > most }
	strung := profiles.String{Gauge: float64(b.Gauge), Core: float64(b.Core), Wrap: b.Wrap}
	if a.PoleHeight2 != nil && b.PoleHeight2 != nil && differ(*a.PoleHeight2, *b.PoleHeight2, samePole) {
		return false
	}
	return !differ(a.PoleHeight, b.PoleHeight, samePole) && !differ(a.StringHeight, b.StringHeight, sameHeight) && wrongString(strung, a) == ""
}
