package curve

import (
	"math"

	"evenpole/profiles"
)

// UsualPole is the diameter of the poles that the priors are about, mm (common practice).
const UsualPole = 4.8

// PoleShift is by how much the priors' means are moved for poles of a diameter and a spacing,
// mm; 0 where it is not known. Over thick rods levels fall more gently with the gap, and more
// evenly; so they do where rods are close together. The figures are those of the worlds in
// [evenpole/bench/handbook] (poles.csv there), in which poles make the same difference to all
// steels; they are carried no farther than to what is there.
func PoleShift(diameter, spacing float64) (shift [FixedParameters]float64) {
	if diameter > 0 {
		more := min(max(diameter, 3.2), 6.4) - UsualPole
		shift[Slope] = -0.095 * more
		shift[Bend] = 0.31 * more
		shift[Protrusion] = 0.0115 * more
	}
	if spacing > 0 {
		times := min(max(spacing, 8.5), 19) / profiles.UsualSpacing
		shift[Slope] += 0.14 * (1 - 1/(times*times))
		shift[Bend] += math.Log(times)
	}
	return shift
}
