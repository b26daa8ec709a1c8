package fit

import (
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
