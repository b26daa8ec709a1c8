package profiles

// arcOf is the arc on which the strings of an order or a mount lie, in mm.
type arcOf struct {
	radius, spread float64
	n              int
	first, last    float64
}

// check refuses an impossible arc: a spread that strings do not have, a circle too
// small to reach from string 1 to the last, two heights for one string. The tables are
// those that hold the radius and the heights.
func (a arcOf) check(instrument, heights *table) {
	if a.n < 2 {
		if a.first != a.last {
			heights.fail("string_height_last", "expected the height of string 1 (%.4g mm), as it is the only one, got %.4g mm", a.first, a.last)
		}
		return
	}
	between := float64(a.n - 1)
	if !spacings.has(a.spread / between) {
		all := span{lo: spacings.lo * between, hi: spacings.hi * between}
		key, _ := instrument.lookup("string_spread")
		u := unitOf(key)
		instrument.fail("string_spread", "expected %s for %d strings, got %.4g%s",
			all.in(u), a.n, a.spread/u.base, otherUnit(key, a.spread/u.base, all))
		return
	}
	if least := halfChord(a.spread, a.last-a.first); a.radius > 0 && a.radius < least {
		instrument.fail("fretboard_radius", "expected 0 (flat) or at least half the string spread (%.4g mm), got %.4g mm", least, a.radius)
	}
}
