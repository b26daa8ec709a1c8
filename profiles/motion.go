package profiles

import "math"

// harmonics are so many of a plucked string's as are added up: up to some kHz.
const harmonics = 12

// pluckedAt is where along the string it is plucked, as a share of its length (common
// practice; the ratio of two places hardly depends on it).
const pluckedAt = 0.2

// StringMotion is how a plucked ideal string of a scale length moves over a second place
// along it, against a first, both mm from the bridge: the RMS of its velocity there by
// that over the first place, and the correlation of the two, -1 to 1. Released from a
// triangle, its harmonic n has the velocity sin(n pi p) / n at its antinodes and sin(n pi
// x / L) of that over the place x (N. H. Fletcher, T. D. Rossing, The Physics of Musical
// Instruments, 1998; from memory).
func StringMotion(scale, first, second float64) (gain, alike float64) {
	var one, two, both float64
	for n := 1.0; n <= harmonics; n++ {
		v := math.Sin(n*math.Pi*pluckedAt) / n
		a, b := v*math.Sin(n*math.Pi*first/scale), v*math.Sin(n*math.Pi*second/scale)
		one, two, both = one+a*a, two+b*b, both+a*b
	}
	return math.Sqrt(two / one), both / math.Sqrt(one*two)
}
