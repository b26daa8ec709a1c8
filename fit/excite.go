package fit

import (
	"fmt"
	"math"
	"slices"

	"evenpole/profiles"
)

// How a string is set moving.
const (
	Travel = "travel" // released from a fixed displacement
	Force  = "force"  // breaks away at a fixed force
	Drive  = "drive"  // an exciter sets what it sets
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
func Velocity(excite string, hz, kgPerM float64) (float64, bool) {
	switch {
	case excite == Drive:
		return 0, true
	case excite == Travel && hz > 0:
		return math.Log(hz), true
	case excite == Force && hz > 0 && kgPerM > 0:
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

// oneExcite returns the kind of excitation that most cells have, those cells,
// and a note on the others, "" when there are none.
func oneExcite(cells []Cell) (excite string, kept []Cell, note string) {
	count := map[string]int{}
	for _, c := range cells {
		count[c.Excite]++
	}
	for e, n := range count {
		if most := count[excite]; n > most || n == most && e < excite {
			excite = e
		}
	}
	kept = slices.DeleteFunc(slices.Clone(cells), func(c Cell) bool { return c.Excite != excite })
	if n := len(cells) - len(kept); n > 0 {
		note = fmt.Sprintf("%d of %d cells were not excited by %q, as the others were, and are left out", n, len(cells), excite)
	}
	return excite, kept, note
}

// playedBy is the excitation that a prediction is for: as ordered, else as it
// was measured. Nobody plays with an exciter: then a fixed force stands for it.
func (s *Setup) playedBy(measured string) string {
	switch {
	case s.Excite != "":
		return s.Excite
	case measured == Drive:
		return Force
	}
	return measured
}
