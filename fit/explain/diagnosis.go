package explain

import (
	"time"

	"evenpole/fit/curve"
)

// Diagnosis is what pictures of a model show. Intervals are the half-widths of
// 95 %; levels are in dB.
type Diagnosis struct {
	Kind    string
	Cells   []Diagnosed
	Fall    []FallClass   // by steel area, thinnest first; nil for a model without a curve
	Effects []EffectGroup // nil for a model without random effects
	Notes   []string      // pickups that could not be predicted from the others
}

// Diagnosed is a cell with what the model says of it.
type Diagnosed struct {
	Pickup, Session string
	String          int
	First           time.Time // zero when not known
	Measured        float64   // balance: the mean of the pickup's cells is 0
	Predicted       float64   // the same, predicted from the other pickups; NaN when it cannot be
	Half            float64   // of the interval of Measured - Predicted
	Residual        float64   // what the curve and all effects leave; of a log-linear model, what its terms and the pickup's mean leave
}

// FallClass is how the level of strings with about as much steel falls with the
// gap from the pole's top to the string's axis.
type FallClass struct {
	From, To float64 // mm, diameters of plain strings with as much steel
	Curve    []FallPoint
	Points   []FallPoint // a cell each: the fall of its own string, plus its residual
}

// FallPoint is a level beside that at the reference gap.
type FallPoint struct {
	Gap   float64 // mm
	Level float64 // dB, other causes than the gap taken off
	Half  float64 // dB, of a curve; 0 of a point
}

// EffectGroup is a random effect with all its levels.
type EffectGroup struct {
	Name   string
	Unit   string  // "dB" or "mm"
	SD     float64 // between levels, by the model
	Levels []EffectLevel
}

// EffectLevel is one pickup, batch, pole, string, channel or setup.
type EffectLevel struct {
	Name        string
	Value, Half float64
}

// ReferenceGap is the gap, mm, at which each [FallPoint] is 0 dB.
const ReferenceGap = curve.RefGap

const normal95 = 1.959964 // standard normal, 95 % two-sided
