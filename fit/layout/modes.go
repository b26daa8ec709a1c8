package layout

import (
	"math"

	"evenpole/profiles"
)

// motion is how a string moves over a second place along it, against a first.
type motion struct {
	gain  float64 // RMS of its velocity there, by that over the first place
	alike float64 // correlation of the two, -1 to 1
}

// motionOf is that over places this far from the bridge.
func motionOf(scale, first, second float64) motion {
	gain, alike := profiles.StringMotion(scale, first, second)
	return motion{gain, alike}
}

// Motion is how the strings of an order with two coils move over the second, against the
// first: the RMS of their velocity, and the correlation.
func Motion(o *profiles.Order) (gain, alike float64) {
	return profiles.StringMotion(o.ScaleLength, o.PickupFromBridge, o.Layout.Coil.FromBridge)
}

// MotionBetween is how much a string of a scale length moves over a place so far from the
// bridge, against another place: the RMS of its velocity.
func MotionBetween(scale, other, at float64) float64 { return motionOf(scale, other, at).gain }

// Cancelled is the lowest harmonic of a string, as a multiple of its fundamental, that
// two coils with this distance between them do not hear: where they add up, the one whose
// wavelength is twice the distance, so that the string moves against itself; where
// they are subtracted, the fundamental is weakest, and 0 is returned.
func Cancelled(scale, apart float64, adds bool) float64 {
	if !adds || apart == 0 {
		return 0
	}
	return scale / math.Abs(apart)
}
