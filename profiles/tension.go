package profiles

import (
	"fmt"
	"math"
)

// steelDensity is that of music wire in kg/m³: the usual handbook figure for
// carbon steel.
const steelDensity = 7850

// wrapDensity is the density of what a string is wound with, in kg/m³. Nickel:
// B. D. Cullity and C. D. Graham, Introduction to Magnetic Materials, 2009,
// recalled. Stainless (a ferritic grade) and bronze (with 5 to 8 % tin): from
// memory. The plating of steel wrap is too thin to count. Any other wrap counts
// as steel.
var wrapDensity = map[Wrap]float64{
	Nickel:            8908,
	NickelPlatedSteel: steelDensity,
	Stainless:         7750,
	StainlessFlat:     7750,
	StainlessHalf:     7750,
	Bronze:            8800,
	PhosphorBronze:    8800,
}

// UnitMass returns the mass of a string per length, in kg/m, from its diameters.
//
// Round wrap wire of diameter w = (gauge−core)/2 in touching turns fills π/4 of
// the ring between core and gauge: one turn, w long, is a torus of volume
// (π·w²/4)·π·(core+w) (Pappus), and the ring holds π·w·(core+w)·w.
func UnitMass(s String) float64 {
	const mm2 = 1e-6 // m²
	core := math.Pi / 4 * s.Core * s.Core * mm2
	if s.Plain() {
		return steelDensity * core
	}
	density, known := wrapDensity[s.Wrap]
	if !known {
		density = steelDensity
	}
	ring := math.Pi / 4 * (s.Gauge*s.Gauge - s.Core*s.Core) * mm2
	return steelDensity*core + density*wrapFill(s.Wrap)*ring
}

// wrapFill is the share of the ring between core and gauge that wrap fills: all of it by
// ribbon, and halfway between that and round wire by wire that is ground half flat (our
// assumption).
func wrapFill(w Wrap) float64 {
	switch w {
	case StainlessFlat:
		return 1
	case StainlessHalf:
		return (1 + math.Pi/4) / 2
	}
	return math.Pi / 4
}

// The share of its gauge that a wound string's core takes up: 35 to 55 %
// (common practice). Within a set cores differ less than gauges, since each
// carries much the same tension: the thinnest wound strings are at the upper
// end, the thick ones at the lower (common practice).
const (
	coreShareLow  = 0.35
	coreShareHigh = 0.55
	thinWound     = 0.45 // mm, the gauge up to which the share is at its highest
	thickWound    = 1.30 // mm, the gauge from which it is at its lowest
)

// EstimateCore returns the diameter of a wound string's core and the limits
// between which it lies, all in mm like the gauge, from the gauge alone: a
// stand-in for a caliper on the unwound end.
func EstimateCore(gauge float64) (core, lo, hi float64) {
	along := min(max((gauge-thinWound)/(thickWound-thinWound), 0), 1)
	share := coreShareHigh - along*(coreShareHigh-coreShareLow)
	return share * gauge, coreShareLow * gauge, coreShareHigh * gauge
}

// semitones of the natural notes over C.
var semitones = map[byte]int{'C': 0, 'D': 2, 'E': 4, 'F': 5, 'G': 7, 'A': 9, 'B': 11}

// Pitch returns the frequency in Hz of a note such as "E4", "F#3" or "Bb1":
// scientific pitch notation, equal temperament, A4 = 440 Hz (ISO 16:1975).
func Pitch(note string) (hz float64, err error) {
	name, accidental, octave := byte(0), byte(0), byte(0)
	switch len(note) {
	case 2:
		name, octave = note[0], note[1]
	case 3:
		name, accidental, octave = note[0], note[1], note[2]
	}
	semitone, ok := semitones[name]
	switch accidental {
	case 0:
		ok = ok && len(note) == 2
	case '#':
		semitone++
	case 'b':
		semitone--
	default:
		ok = false
	}
	if !ok || octave < '0' || octave > '9' {
		return 0, fmt.Errorf("expected a note such as %q or %q, got %q", "E4", "F#3", note)
	}
	fromA4 := 12*(int(octave-'0')-4) + semitone - 9
	return 440 * math.Exp2(float64(fromA4)/12), nil
}
