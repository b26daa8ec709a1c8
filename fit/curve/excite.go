package curve

import (
	"cmp"
	"math"

	"evenpole/profiles"
)

// Velocity returns the logarithm of a string's velocity for a kind of
// excitation, up to a constant that all strings of one instrument share: a
// fixed displacement moves it in proportion to its frequency, a fixed force
// gives a displacement in inverse proportion to its tension T = (2 L f)^2 mu,
// and an exciter sets what it sets. hz is the open string's frequency, kgPerM
// its mass per length; the scale length L is in the constant. So is the shape of
// the mode over a pickup x from the bridge, sin(n pi x / L), which is alike for all
// strings of one scale length plucked at one place and no part of their balance
// (N. H. Fletcher, T. D. Rossing, The Physics of Musical Instruments, 1998, on the
// ideal string; from memory). The result is false when the excitation is not known
// or a figure that it needs is missing.
func Velocity(excite profiles.Excitation, hz, kgPerM float64) (float64, bool) {
	switch {
	case excite == profiles.Drive:
		return 0, true
	case excite == profiles.Travel && hz > 0:
		return math.Log(hz), true
	case excite == profiles.Force && hz > 0 && kgPerM > 0:
		return -math.Log(hz) - math.Log(kgPerM), true
	}
	return 0, false
}

// Convert returns by how much ln v of each string changes from one kind of
// excitation to another, less the mean over the strings: what one kind moves
// all strings more than another is not known. nil when a note is missing.
func Convert(from, to profiles.Excitation, strings []profiles.String) []float64 {
	shift := make([]float64, len(strings))
	var mean float64
	for i, s := range strings {
		hz, err := profiles.Pitch(s.Note)
		if err != nil {
			return nil
		}
		before, ok1 := Velocity(from, hz, profiles.UnitMass(s))
		after, ok2 := Velocity(to, hz, profiles.UnitMass(s))
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

// RelativeVelocity is the equation's X: Velocity less that of a plain string of
// RefDiameter at refPitch; 0 where one of the two cannot be told.
func RelativeVelocity(excite profiles.Excitation, hz float64, s profiles.String) float64 {
	ref := profiles.String{Gauge: RefDiameter, Core: RefDiameter, Wrap: "plain"}
	x, ok := Velocity(cmp.Or(excite, profiles.Travel), hz, profiles.UnitMass(s))
	zero, _ := Velocity(cmp.Or(excite, profiles.Travel), refPitch, profiles.UnitMass(ref))
	if !ok {
		return 0
	}
	return x - zero
}
