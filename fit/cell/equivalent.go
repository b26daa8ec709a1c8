package cell

import "math"

// usualFall is how fast levels fall with the gap, ln v per mm: that of the handbook. It is
// used only between the two rows of poles of one pickup, whose heights differ little.
const usualFall = 0.4

// Equivalent is the height, mm, of a single row of poles over which a string is as loud
// as over two rows: heights first and second, the string moving over the second gain
// times as far, and the other way where gain is negative.
func Equivalent(first, second, gain float64) float64 {
	both := 1 + gain*math.Exp(usualFall*(second-first))
	alone := 1 + gain
	if both*alone <= 0 || math.Abs(alone) < 0.05 {
		return first // what is left is a small difference, of which a height says nothing
	}
	return first + math.Log(both/alone)/usualFall
}
