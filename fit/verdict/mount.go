package verdict

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/profiles"
)

// Differences, mm, that do not count: calipers and the strings' own tolerances give as
// much for the same thing (our rule).
const (
	sameHeight   = 0.15
	samePole     = 0.05
	sameDiameter = 0.015
	sameShare    = 0.03 // of a diameter, when that is more than sameDiameter
	sameBareCore = 0.05 // of a core's diameter, when that is more than sameDiameter
)

// compareMount warns where the mounting on the jig differs from the order. It
// withholds the verdict when the strings are not the order's or do not sound at its
// notes, or when the session names more than one height or diameter of a string.
func (c *check) compareMount() {
	if c.order.Batch != "" && c.v.Batch != "" && c.order.Batch != c.v.Batch {
		c.warn("the pickup's magnets are of batch %q, the order asks for %q", c.v.Batch, c.order.Batch)
	}
	if on, want := cell.UnderOf(&c.session.row), c.order.Under(); on != want {
		c.warn("the pickup on the jig has %s, the order asks for %s", on.Words(), want.Words())
	}
	c.warnOfOwnWraps()
	heights := c.order.StringHeights()
	var strung, off, built, pitch []string
	for i := range c.order.Strings {
		s := &c.v.Strings[i]
		if c.session.takes(i).moved {
			c.withhold("%s: the session names more than one height or diameter: capture again with the strings and poles as they are", c.name(i))
		}
		if d := wrongString(c.order.Strings[i], s); d != "" {
			strung = append(strung, c.name(i)+" "+d)
		}
		if h := float64(s.StringHeight); math.Abs(h-heights[i]) > sameHeight {
			off = append(off, profiles.Sprintf("%s at %.2f mm, ordered %.2f mm", c.name(i), h, heights[i]))
		}
		for _, d := range c.wrongPoles(i) {
			built = append(built, c.name(i)+" "+d)
		}
		if d := wrongPitch(c.order.Strings[i].Note, c.session.takes(i).freqs); d != "" {
			pitch = append(pitch, c.name(i)+" "+d)
		}
	}
	if strung != nil {
		c.withhold("the strings on the jig are not those of the order: %s", strings.Join(strung, "; "))
	}
	if off != nil {
		c.warn("string heights on the jig are not those of the order: %s", strings.Join(off, "; "))
	}
	if built != nil {
		c.warn("poles stand outside the order's limits: %s", strings.Join(built, "; "))
	}
	if pitch != nil {
		c.withhold("strings were not at their pitch, and level follows pitch: %s", strings.Join(pitch, "; "))
	}
}

// warnOfOwnWraps warns of wraps, ordered or on the jig, that the handbook does not know:
// the comparison with a model and the conversion to another excitation stand on them.
func (c *check) warnOfOwnWraps() {
	all := slices.Clone(c.order.Strings)
	for i := range c.v.Strings {
		all = append(all, profiles.String{Wrap: c.v.Strings[i].Wrap})
	}
	for _, w := range profiles.OwnWraps(all) {
		c.warn("%s", profiles.OwnWrapWarning(w))
	}
}

// wrongString says how the string on the jig differs from the one ordered; ""
// when it does not. An estimated core proves nothing.
func wrongString(want profiles.String, got *String) string {
	differ := func(a, b, least, share float64) bool {
		return b > 0 && math.Abs(a-b) > max(least, share*b)
	}
	switch {
	case differ(float64(got.Gauge), want.Gauge, sameDiameter, sameShare):
		return profiles.Sprintf("has gauge %.3f mm, ordered %.3f mm", float64(got.Gauge), want.Gauge)
	case got.Wrap != "" && want.Wrap != "" && got.Wrap != want.Wrap:
		return fmt.Sprintf("has wrap %q, ordered %q", got.Wrap, want.Wrap)
	case !want.CoreEstimated && differ(float64(got.Core), want.Core, sameDiameter, sameBareCore):
		return profiles.Sprintf("has core %.3f mm, ordered %.3f mm", float64(got.Core), want.Core)
	}
	return ""
}

// wrongPoles says which of the order's limits the pole under string i breaks, and that of the
// second coil; nil when none.
func (c *check) wrongPoles(i int) (wrong []string) {
	o, s := c.order, &c.v.Strings[i]
	if d := c.wrongPole(s.PoleHeight, s.StringHeight, o.PoleHeightMin, o.PoleHeightMax); d != "" {
		wrong = append(wrong, d)
	}
	coil := o.Layout.Coil
	if coil == nil || s.PoleHeight2 == nil {
		return wrong
	}
	low, high := coil.Min, coil.Max
	if coil.Fixed != nil {
		low, high = slices.Min(coil.Fixed), slices.Max(coil.Fixed)
	}
	if d := c.wrongPole(*s.PoleHeight2, s.StringHeight, low, high); d != "" {
		wrong = append(wrong, "in coil 2 "+d)
	}
	return wrong
}

// wrongPole says how a pole breaks its limits in mm, or is too near to its string; "" when it
// does neither.
func (c *check) wrongPole(pole, under level.Figure, low, high float64) string {
	h, gap := float64(pole), float64(under-pole)
	switch {
	case h < low-samePole || h > high+samePole:
		return profiles.Sprintf("at %.2f mm, allowed %.2f to %.2f mm", h, low, high)
	case gap < c.order.RestGap()-samePole:
		return profiles.Sprintf("at %.2f mm from its string, allowed %.2f mm", gap, c.order.RestGap())
	}
	return ""
}

// wrongPitch says how a string sounded when it was not at its note; "" when it
// was, or when one of the two is not known.
func wrongPitch(note string, freqs []float64) string {
	if len(freqs) == 0 {
		return ""
	}
	return profiles.WrongPitch(note, slices.Sorted(slices.Values(freqs))[len(freqs)/2])
}
