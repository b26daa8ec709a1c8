package curve

import (
	"math"

	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"
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
var FixedPriors = [FixedParameters]solve.Normal{
	Level:            {Mean: 3, SD: 3},
	AreaExponent:     {Mean: 1, SD: 0.12},
	VelocityExponent: {Mean: 1, SD: 0.12},
	Slope:            {Mean: math.Log(5.55 / level.PerLn), SD: 0.25},
	Bend:             {Mean: math.Log(3.6), SD: 0.5},
	Steepness:        {Mean: 0.05, SD: 0.06},
	Protrusion:       {Mean: 0, SD: 0.04},
	EndLoss:          {Mean: 0.06, SD: 0.04},
	BendExponent:     {Mean: -0.3, SD: 0.3},
	FieldExponent:    {Mean: 0.7, SD: 0.2},
	WrapCommon:       {Mean: 0, SD: 0.4},
}

// wrapPriors are the prior weights of wraps and how far one may be off on its
// own (standard deviation of the logarithm): the saturation polarisation of
// what is wound relative to iron's 2.15 T (0.61 T nickel; B. D. Cullity, C. D.
// Graham, Introduction to Magnetic Materials), times pi/4 for round turns that
// touch, times an assumed 0.4 for the gaps that the flux meets from turn to
// turn. All wraps share the uncertainty of that last factor. Of their own they
// may be off by more than the two of the bench in testdata, whose weights stand to
// each other within 0.2 of what this says.
var wrapPriors = map[profiles.Wrap]solve.Normal{
	profiles.Nickel:            {Mean: math.Log(0.28 * math.Pi / 4 * 0.4), SD: 0.3},
	profiles.NickelPlatedSteel: {Mean: math.Log(0.92 * math.Pi / 4 * 0.4), SD: 0.3},
	profiles.Stainless:         {Mean: math.Log(0.70 * math.Pi / 4 * 0.4), SD: 0.35},
	profiles.Bronze:            {Mean: math.Log(0.003), SD: 0.5}, // not magnetic
	profiles.PhosphorBronze:    {Mean: math.Log(0.003), SD: 0.5},
}

// unknownWrap is the prior of a wrap with a name of the user's own: anything from
// bronze to steel, whose wound strings lie as far above as below it in ln A.
var unknownWrap = solve.Normal{Mean: math.Log(0.12), SD: 1}

// WrapPrior is the prior of ln k_wrap, but for what all wraps share.
func WrapPrior(wrap profiles.Wrap) solve.Normal {
	if p, ok := wrapPriors[wrap]; ok {
		return p
	}
	return unknownWrap
}
