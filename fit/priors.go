package fit

import (
	"evenpole/fit/level"
	"math"
	"slices"
)

// falloffPriors are the priors of the fixed parameters.
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
var falloffPriors = [pFixed]Normal{
	pLevel:     {Mean: 3, SD: 3},
	pArea:      {Mean: 1, SD: 0.12},
	pVelocity:  {Mean: 1, SD: 0.12},
	pSlope:     {Mean: math.Log(5.55 / level.PerLn), SD: 0.25},
	pBend:      {Mean: math.Log(3.6), SD: 0.5},
	pSteepness: {Mean: 0.05, SD: 0.06},
	pProtrude:  {Mean: 0, SD: 0.04},
	pEnd:       {Mean: 0.06, SD: 0.04},
	pBendSteel: {Mean: -0.3, SD: 0.3},
	pField:     {Mean: 0.7, SD: 0.2},
	pWrap:      {Mean: 0, SD: 0.4},
}

// priors lists the priors of all parameters.
func (c *curve) priors() []Normal {
	out := slices.Clone(falloffPriors[:])
	for _, w := range c.Wraps {
		out = append(out, wrapPrior(w))
	}
	return out
}
