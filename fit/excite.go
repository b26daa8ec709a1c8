package fit

import (
	"math"

	"evenpole/profiles"
)

// How a string is set moving.
const (
	travel = "travel" // released from a fixed displacement
	force  = "force"  // breaks away at a fixed force
	drive  = "drive"  // an exciter sets what it sets
)

// velocity returns the logarithm of a string's velocity for a kind of
// excitation, up to a constant that all strings of one instrument share: a
// fixed displacement moves it in proportion to its frequency, a fixed force
// gives a displacement in inverse proportion to its tension T = (2 L f)^2 mu,
// and an exciter sets what it sets. hz is the open string's frequency, kgPerM
// its mass per length; the scale length L is in the constant. The result is
// false when the excitation is not known or a figure that it needs is missing.
func velocity(excite string, hz, kgPerM float64) (float64, bool) {
	switch {
	case excite == drive:
		return 0, true
	case excite == travel && hz > 0:
		return math.Log(hz), true
	case excite == force && hz > 0 && kgPerM > 0:
		return -math.Log(hz) - math.Log(kgPerM), true
	}
	return 0, false
}

// convert returns by how much ln v of each string changes from one kind of
// excitation to another, less the mean over the strings: what one kind moves
// all strings more than another is not known. nil when a note is missing.
func convert(from, to string, strings []profiles.String) []float64 {
	shift := make([]float64, len(strings))
	var mean float64
	for i, s := range strings {
		hz, err := profiles.Pitch(s.Note)
		if err != nil {
			return nil
		}
		before, ok1 := velocity(from, hz, profiles.UnitMass(s))
		after, ok2 := velocity(to, hz, profiles.UnitMass(s))
		if !ok1 || !ok2 {
			return nil
		}
		shift[i] = after - before
		mean += shift[i] / float64(len(strings))
	}
	for i := range shift {
		shift[i] -= mean
	}
	return shift
}
