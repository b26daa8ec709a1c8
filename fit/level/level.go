// Package level is how loud a string is, in the two measures that the program
// uses, and the one conversion between them.
//
// Models work with [Ln]: in it what makes a string louder adds up, and a small
// change is a share. People read [DB]. Both are of the RMS voltage v at the
// pickup's terminals in mV; [Of] takes the quiet power off it.
//
// A [Figure] is a number of a document that may not be known.
package level

import "math"

// Ln is a level, or a difference of levels, as the natural logarithm of v.
type Ln float64

// DB is a level beside 1 mV, or a difference of levels, in decibels.
type DB float64

// PerLn is how many decibels one in Ln is: 20 log10(v) = PerLn ln(v).
const PerLn = 20 / math.Ln10

// DB is the same in decibels.
func (l Ln) DB() DB { return DB(PerLn * float64(l)) }

// Ln is the same in natural logarithms.
func (d DB) Ln() Ln { return Ln(float64(d) / PerLn) }

// MV is the voltage of a level, mV RMS.
func (d DB) MV() float64 { return math.Pow(10, float64(d)/20) }

// Of is the level of a take with its quiet power taken off: v^2 = rms^2 - quiet^2
// (mV); NaN when it is not above its quiet level. A quiet level that is NaN was
// not measured and counts as 0.
func Of(rms, quiet float64) Ln {
	if math.IsNaN(quiet) {
		quiet = 0
	}
	if !(rms > math.Abs(quiet)) {
		return Ln(math.NaN())
	}
	share := quiet / rms
	return Ln(math.Log(rms) + math.Log1p(-share*share)/2)
}
