package curve

import (
	"math"
	"slices"

	"evenpole/fit/level"
	"evenpole/fit/solve"
)

// FixedPriors are the priors of the fixed parameters.
//
//   - Level: none to speak of.
//   - Area and velocity exponent: output in proportion to the string's
//     cross-section and to its velocity (measured: Analytical Modeling and
//     Experimental Characterization of a Magnetic Pickup for Electric Guitar, J.
//     Audio Eng. Soc. 65, 2017), give or take what a saturating core and a
//     string that rings for a while make of it (our assumption).
//   - Slope and bend: the exact field of a 3/16 in by 0.65 in rod, common
//     practice, over a long string (a test computes both). At the reference gap
//     output falls by 7.8 dB/mm where the string's steel magnetises in proportion
//     to the field and by 3.9 dB/mm where it is saturated; 5.55 is halfway in the
//     logarithm. Rods from 4 to 6 mm differ by less than that.
//   - Exponent of the bend: our assumption, that the falloff of thin strings, which
//     saturate near a pole, bends less.
//   - Field exponent: between steel that saturates (0) and steel that magnetises
//     in proportion to the field (1), as most does at these gaps.
//   - Steepness, protrusion, loss at the ends, what wraps share: our assumptions.
var FixedPriors = [PFixed]solve.Normal{
	PLevel:     {Mean: 3, SD: 3},
	PArea:      {Mean: 1, SD: 0.12},
	PVelocity:  {Mean: 1, SD: 0.12},
	PSlope:     {Mean: math.Log(5.55 / level.PerLn), SD: 0.25},
	PBend:      {Mean: math.Log(3.6), SD: 0.5},
	PSteepness: {Mean: 0.05, SD: 0.06},
	PProtrude:  {Mean: 0, SD: 0.04},
	PEnd:       {Mean: 0.06, SD: 0.04},
	PBendSteel: {Mean: -0.3, SD: 0.3},
	PField:     {Mean: 0.7, SD: 0.2},
	PWrap:      {Mean: 0, SD: 0.4},
}

// Priors lists the priors of all parameters.
func (c *Curve) Priors() []solve.Normal {
	out := slices.Clone(FixedPriors[:])
	for _, w := range c.Wraps {
		out = append(out, WrapPrior(w))
	}
	return out
}
