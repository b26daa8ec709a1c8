package fit

import (
	"slices"

	"evenpole/fit/curve"
	"evenpole/profiles"
)

// Handbook is the model of a shop without a record: priors alone, for strings
// that are set moving in this way.
func Handbook(excite profiles.Excitation) Model {
	f := &Falloff{Curve: curve.Curve{Excite: excite, Pitch: true}, NoReadings: true, SDs: handbookSDs(), LevelCounts: make([]int, len(curve.Effects))}
	n := f.Size()
	f.Cov = make([][]float64, n)
	for j, p := range f.Priors() {
		f.Theta = append(f.Theta, p.Mean)
		f.Cov[j] = make([]float64, n)
		f.Cov[j][j] = p.SD * p.SD
	}
	return f
}

// IsHandbook reports whether a model has seen no reading.
func IsHandbook(m Predictor) bool { return m.Source() == fromHandbook }

// OverPoles moves the handbook to what it says of poles of this diameter and this far apart,
// mm; 0 where it is not known. A model of a shop's record is of the poles that the shop
// measured: ask [IsHandbook] first.
func OverPoles(handbook Predictor, diameter, spacing float64) Predictor {
	f, ok := handbook.(*Falloff)
	shift := curve.PoleShift(diameter, spacing)
	if !ok || shift == [curve.FixedParameters]float64{} {
		return handbook
	}
	moved := *f
	moved.Theta = slices.Clone(f.Theta)
	for j, by := range shift {
		moved.Theta[j] += by
	}
	return &moved
}
