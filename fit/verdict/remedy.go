package verdict

import (
	"fmt"
	"math"

	"evenpole/profiles"
)

// remedies says what can be done about strings that are out. Screws turn; rods
// and slugs stay where they are once the coil is wound (common practice).
func (c *check) remedies() {
	if c.v.Verdict != OutOfTolerance {
		return
	}
	screws := c.order.Poles == profiles.Screw
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
	c.v.Remedy = "turn the screws in small steps, then capture again"
	if !screws {
		c.v.Remedy = c.tilt() + "; never press, pull or hammer a pole of a wound coil"
	}
}

// loudness says by how much a string is off, in words.
func loudness(deviation Figure) string {
	if deviation > 0 {
		return fmt.Sprintf("%.1f dB too loud", float64(deviation))
	}
	return fmt.Sprintf("%.1f dB too quiet", -float64(deviation))
}

// wanted is the pole height, mm, that would bring string i to its target were
// all others to stay at theirs; false when no slope tells.
func (c *check) wanted(i int) (height float64, ok bool) {
	s := &c.v.Strings[i]
	if c.opt.Slope == nil || !(c.opt.Slope[i] > 0) || !s.PoleHeight.Known() {
		return 0, false
	}
	return float64(s.PoleHeight) - float64(s.Deviation)/c.opt.Slope[i], true
}

// turn says which way a screw goes, and how far where a slope tells.
func (c *check) turn(i int) string {
	s := &c.v.Strings[i]
	way := "raise"
	if s.Deviation > 0 {
		way = "lower"
	}
	text := fmt.Sprintf("%s: %s its screw", loudness(s.Deviation), way)
	want, ok := c.wanted(i)
	if !ok {
		return text
	}
	low, high := c.order.PoleHeightMin, c.order.PoleHeightMax
	if s.StringHeight.Known() {
		high = min(high, float64(s.StringHeight)-c.order.MinGap)
	}
	allowed := max(low, min(high, want))
	move := allowed - float64(s.PoleHeight)
	switch {
	case allowed == want:
		return fmt.Sprintf("%s by about %.2f mm, to %.2f mm", text, math.Abs(move), want)
	case math.Abs(move) < samePole || (move > 0) == (s.Deviation > 0):
		return fmt.Sprintf("%s; it is at the order's limit already, so try another string gauge", loudness(s.Deviation))
	}
	return fmt.Sprintf("%s to the order's limit, %.2f mm; it would take %.2f mm", text, allowed, want)
}

// restring says what is left to do under a fixed pole.
func (c *check) restring(i int) string {
	s := &c.v.Strings[i]
	core, way := "thicker", "higher"
	if s.Deviation > 0 {
		core, way = "thinner", "lower"
	}
	text := fmt.Sprintf("%s: try a string with a %s core; or rewind with a %s pole", loudness(s.Deviation), core, way)
	if want, ok := c.wanted(i); ok {
		text += fmt.Sprintf(", about %.2f mm", want)
	}
	return text
}

// tilt says whether tilting the pickup can do it: when the deviations lie along
// a line from the first string to the last well enough.
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
