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

// OverPoles is a model for poles of this diameter and this far apart, mm; 0 where it is not
// known. The handbook is moved to what it says of such poles. A model of a shop's record is
// of the poles that the shop measured, and returned as it is.
func OverPoles(m Predictor, diameter, spacing float64) Predictor {
	f, ok := m.(*Falloff)
	shift := curve.PoleShift(diameter, spacing)
	if !ok || !f.NoReadings || shift == [curve.FixedParameters]float64{} {
		return m
	}
	moved := *f
	moved.Theta = slices.Clone(f.Theta)
	for j, by := range shift {
		moved.Theta[j] += by
	}
	return &moved
}
