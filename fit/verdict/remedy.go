package verdict

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenpole/fit/level"
	"evenpole/profiles"
)

// remedies says what can be done about strings that are out. Screws turn; rods
// and slugs stay where they are once the coil is wound (common practice), so that
// the pickup is moved, or strings are changed.
func (c *check) remedies() {
	if c.v.Verdict != OutOfTolerance {
		return
	}
	if c.opt.Slope == nil && c.x != nil {
		c.opt.Slope = c.x.slopes()
	}
	screws := c.screws()
	for i := range c.v.Strings {
		s := &c.v.Strings[i]
		switch {
		case s.Verdict != OutOfTolerance:
		case screws:
			s.Remedy = c.turn(i)
		default:
			s.Remedy = c.restring(i)
		}
	}
	if c.turned > 0 {
		c.v.Remedy = c.turnBack()
		return
	}
	c.v.Remedy = c.firstLook()
	if screws {
		c.v.Remedy += "turn the screws in small steps, then capture again"
		return
	}
	if c.order.Poles == profiles.Blade {
		c.v.Remedy += "raise, lower or tilt the pickup as 'plan' says; where that does not even it out, change strings, or the blade's top"
		return
	}
	c.v.Remedy += cmp.Or(c.move(), c.tilt()) + "; never press, pull or hammer a pole of a wound coil"
}

// screws reports whether a row of the pickup's poles is screws that can be turned.
func (c *check) screws() bool {
	two := c.order.Layout.Coil
	return c.order.Poles == profiles.Screw && (two == nil || c.order.FixedHeights == nil) || two != nil && two.Poles == profiles.Screw && two.Fixed == nil
}

// turnBack says what to do about a single pole with the other side up, which comes
// before anything else: the magnets of a wound coil are charged in place, all at once
// (common practice).
func (c *check) turnBack() string {
	if c.order.Poles == profiles.Rod {
		return fmt.Sprintf("the magnet of string %d is the wrong way round: charge the magnets anew, all one way, or rewind with that one turned, then capture again; never press, pull or hammer a pole of a wound coil", c.turned)
	}
	return fmt.Sprintf("the pole of string %d has the wrong side up: look at the magnets under it, then capture again", c.turned)
}

// firstLook says to look for the likeliest cause before anything is moved; "" when
// nothing stands out.
func (c *check) firstLook() string {
	if c.v.Diagnosis == nil || len(c.v.Diagnosis.Causes) == 0 {
		return ""
	}
	return fmt.Sprintf("see first whether %s; if not, ", c.v.Diagnosis.Causes[0].Text)
}

// loudness says by how much a string is off, in words.
func loudness(deviation level.Figure) string {
	if deviation > 0 {
		return fmt.Sprintf("%.1f dB too loud", float64(deviation))
	}
	return fmt.Sprintf("%.1f dB too quiet", -float64(deviation))
}

// slopes is by how much each level rises with its pole's height, dB per mm, at the
// heights of the pickup.
func (x *expectation) slopes() []float64 {
	raised := slices.Clone(x.heights)
	for i := range raised {
		raised[i] += step
	}
	out := x.shiftFor(raised, nil)[:len(raised)]
	for i := range out {
		out[i] *= level.PerLn / step
	}
	return out
}

// wanted is the pole height, mm, that would change the level of string i by less dB while the
// other levels stay; not ok when its slope is not known.
func (c *check) wanted(i int, less level.Figure) (height float64, ok bool) {
	s := &c.v.Strings[i]
	if c.order.Layout.Coil != nil { // slopes are of both rows together
		return 0, false
	}
	if c.opt.Slope == nil || !(c.opt.Slope[i] > 0) || !s.PoleHeight.Known() {
		return 0, false
	}
	return float64(s.PoleHeight) - float64(less)/c.opt.Slope[i], true
}

// heights are the lowest and the highest that the order allows the pole under string
// i, mm: the string must clear it.
func (c *check) heights(i int) (low, high float64) {
	low, high = c.order.PoleHeightMin, c.order.PoleHeightMax
	if above := c.v.Strings[i].StringHeight; above.Known() {
		high = min(high, float64(above)-c.order.RestGap())
	}
	return low, high
}

// turn says which way to turn a screw, and how far when its slope is known.
func (c *check) turn(i int) string {
	s := &c.v.Strings[i]
	off, until := s.Deviation, ""
	if other := c.shares(i); other != nil {
		off = (s.Deviation + other.Deviation) / 2
		left := math.Abs(float64(s.Deviation - off))
		if left > c.order.Tolerance {
			return fmt.Sprintf("%s, and string %d over the same screw %s: no height of it serves both; %s", loudness(s.Deviation), other.Number, loudness(other.Deviation), c.otherCore(i))
		}
		until = fmt.Sprintf(", which moves string %d as well (%s), until both are as far off, %.1f dB", other.Number, loudness(other.Deviation), left)
	}
	way := "raise"
	if off > 0 {
		way = "lower"
	}
	text := fmt.Sprintf("%s: %s its screw%s", loudness(s.Deviation), way, until)
	want, ok := c.wanted(i, off)
	if !ok {
		return text
	}
	if until != "" {
		text += ":"
	}
	low, high := c.heights(i)
	allowed := max(low, min(high, want))
	move := allowed - float64(s.PoleHeight)
	switch {
	case allowed == want:
		return profiles.Sprintf("%s by about %.2f mm%s, to %.2f mm", text, math.Abs(move), c.turns(move), want)
	case math.Abs(move) < samePole || (move > 0) == (off > 0):
		return fmt.Sprintf("%s; it is at the order's limit already, so try another string gauge", loudness(s.Deviation))
	}
	return profiles.Sprintf("%s to the order's limit, %.2f mm%s; it would take %.2f mm", text, allowed, c.turns(move), want)
}

// turns says how many turns of a screw a move is, to the nearest eighth; "" when
// the order does not give its pitch.
func (c *check) turns(move float64) string {
	if c.order.ScrewPitch == 0 {
		return ""
	}
	n := math.Round(8*math.Abs(move)/c.order.ScrewPitch) / 8
	if n == 1 {
		return " (1 turn)"
	}
	return fmt.Sprintf(" (%g turns)", n)
}

// shares is the string that stands over the same pole as string i; nil without one that was measured.
func (c *check) shares(i int) *String {
	for k := range c.v.Strings {
		if other := &c.v.Strings[k]; k != i && other.Deviation.Known() && c.order.Layout.Leader(k) == c.order.Layout.Leader(i) {
			return other
		}
	}
	return nil
}

// otherCore says which core string i wants.
func (c *check) otherCore(i int) string {
	core := "thicker"
	if c.v.Strings[i].Deviation > 0 {
		core = "thinner"
	}
	return fmt.Sprintf("try a string with a %s core%s", core, c.example(i))
}

// restring says what is left to do under a fixed pole. A pole that two strings share is not
// made anew for one of them.
func (c *check) restring(i int) string {
	s := &c.v.Strings[i]
	text := loudness(s.Deviation) + ": " + c.otherCore(i)
	if c.order.Poles == profiles.Blade || c.shares(i) != nil {
		return text
	}
	way := "higher"
	if s.Deviation > 0 {
		way = "lower"
	}
	text += fmt.Sprintf("; or rewind with a %s pole", way)
	want, ok := c.wanted(i, s.Deviation)
	low, high := c.heights(i)
	switch {
	case !ok:
		return text
	case want < low || want > high:
		return text + ", beyond the order's limits"
	}
	return text + profiles.Sprintf(", about %.2f mm", want)
}

// example names the string of a known set whose core would bring string i nearest to
// its target; "" when none brings it within tolerance.
func (c *check) example(i int) string {
	if c.x == nil {
		return ""
	}
	n := float64(len(c.v.Strings))
	dev := float64(c.v.Strings[i].Deviation)
	best, text := c.order.Tolerance, ""
	for _, set := range c.x.sets {
		if len(set.Strings) != len(c.v.Strings) {
			continue
		}
		other := set.Strings[i]
		if (other.Core > c.x.setup.Strings[i].Core) != (dev < 0) {
			continue
		}
		other.Note = c.x.setup.Strings[i].Note
		shift := c.x.shiftFor(c.x.heights, func(s []profiles.String, _ []float64) { s[i] = other })
		if left := math.Abs(dev + level.PerLn*shift[i]*(1-1/n)); left < best {
			best, text = left, fmt.Sprintf(", such as %s of set %q, which would leave %.1f dB", diameters(other), set.Name, left)
		}
	}
	return text
}

// moveStep is by what a pickup is moved, mm: finer than its height screws are set.
const moveStep = 0.1

// move finds the height and tilt of the pickup with the least worst deviation by the
// model, and the smallest such move; "" without a model.
func (c *check) move() string {
	if c.x == nil {
		return ""
	}
	now := c.worst(0, 0)
	best, first, last := now, 0.0, 0.0
	up, down := cmp.Or(c.order.PickupRaise, profiles.UsualTravel), cmp.Or(c.order.PickupLower, profiles.UsualTravel)
	for a := -math.Round(down / moveStep); a <= math.Round(up/moveStep); a++ {
		for b := -math.Round(down / moveStep); b <= math.Round(up/moveStep); b++ {
			x, y := a*moveStep, b*moveStep
			w := c.worst(x, y)
			if w < best-0.01 || w < best+0.01 && math.Abs(x)+math.Abs(y) < math.Abs(first)+math.Abs(last) {
				best, first, last = w, x, y
			}
		}
	}
	if best > c.order.Tolerance {
		return fmt.Sprintf("poles are fixed, and neither height nor tilt of the pickup brings every string within tolerance (%.1f dB at best): change strings, or rewind with other pole heights", best)
	}
	return fmt.Sprintf("%s: the model expects the worst string %.1f dB off then, %.1f dB now", moves(first, last, len(c.v.Strings)), best, now)
}

// worst is the worst deviation of the pickup when it is raised by so many mm at its
// first and at its last string; infinite when a string comes too near.
func (c *check) worst(first, last float64) float64 {
	if c.tooNear(first, last) {
		return math.Inf(1)
	}
	shift := c.x.shiftFor(c.x.heights, func(_ []profiles.String, above []float64) { lift(above, -first, -last) })
	var mean, worst float64
	for i := range c.v.Strings {
		mean += shift[i] / float64(len(c.v.Strings))
	}
	for i, s := range c.v.Strings {
		worst = max(worst, math.Abs(float64(s.Deviation)+level.PerLn*(shift[i]-mean)))
	}
	return worst
}

// tooNear reports whether a move brings a string nearer to its pole than the
// order allows, and nearer than it is.
func (c *check) tooNear(first, last float64) bool {
	above := slices.Clone(c.x.setup.StringHeights)
	lift(above, -first, -last)
	for i, h := range above {
		if h-c.x.heights[i] < c.order.RestGap() && h < c.x.setup.StringHeights[i] {
			return true
		}
	}
	return false
}

// moves says in words how a pickup is moved at its two ends.
func moves(first, last float64, n int) string {
	end := func(mm float64) string {
		if mm < 0 {
			return profiles.Sprintf("lower it by %.1f mm", -mm)
		}
		return profiles.Sprintf("raise it by %.1f mm", mm)
	}
	var parts []string
	if math.Abs(first-last) < moveStep/2 {
		return "move the pickup: " + end(first) + " all along"
	}
	for _, e := range []struct {
		mm float64
		at int
	}{{first, 1}, {last, n}} {
		if e.mm != 0 {
			parts = append(parts, fmt.Sprintf("%s at string %d", end(e.mm), e.at))
		}
	}
	return "move the pickup: " + strings.Join(parts, ", ")
}

// tilt says whether tilting the pickup can bring every string within tolerance: when
// the deviations lie near a straight line from the first string to the last.
func (c *check) tilt() string {
	n := len(c.v.Strings)
	middle := float64(n-1) / 2
	var moment, weight float64
	for i, s := range c.v.Strings {
		x := float64(i) - middle
		moment += x * float64(s.Deviation)
		weight += x * x
	}
	rise := moment / max(weight, 1)
	for i, s := range c.v.Strings {
		if math.Abs(float64(s.Deviation)-rise*(float64(i)-middle)) > c.order.Tolerance {
			return "poles are fixed, and tilting the pickup does not even it out: change strings, or rewind with other pole heights"
		}
	}
	loud, quiet := n, 1
	if rise < 0 {
		loud, quiet = 1, n
	}
	return fmt.Sprintf("tilt the pickup: lower it on the side of string %d or raise it on the side of string %d, then capture again", loud, quiet)
}
