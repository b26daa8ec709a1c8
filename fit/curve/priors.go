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
//   - Area exponent: output in proportion to the string's cross-section (measured:
//     Analytical Modeling and Experimental Characterization of a Magnetic Pickup for
//     Electric Guitar, J. Audio Eng. Soc. 65, 2017), a little less where a core saturates.
//   - Velocity exponent: in proportion to the string's velocity (the same), give or
//     take what a string that rings for a while makes of it (our assumption).
//   - Slope, bend, steepness and what plain strings differ by: from the field solver of
//     testdata, where level falls by 2 to 6 dB/mm, the more gently the more easily the
//     steel magnetises, and plain strings of such steel more gently than wound ones; and
//     from the worlds of [evenpole/bench/handbook]. The means lie halfway between
//     those of steel that magnetises easily and of steel that does not.
//   - Protrusion: a pole that is raised out of its coil answers less, by -1.0 to -1.5 dB/mm
//     in a row by the solver, less where poles are simpler than that.
//   - Slope by height: the solver has -0.030 per mm in two rows, worlds -0.029 +- 0.009, the
//     simulated jig -0.02 to -0.03 by its rods' permeability; next to 0 where raised iron is as
//     magnetised as iron in the coil. The mean lies halfway.
//   - Area of wound strings: worlds have -0.09 +- 0.05, the solver +0.04.
//   - Loss at the ends, by the gap and beside it, exponent of the bend: what worlds spread over.
//   - Field exponent: between steel that saturates (0) and steel that magnetises
//     in proportion to the field (1).
//   - What wraps share: our assumption.
var FixedPriors = [FixedParameters]solve.Normal{
	Level:            {Mean: 3, SD: 3},
	AreaExponent:     {Mean: 0.965, SD: 0.045},
	VelocityExponent: {Mean: 0.97, SD: 0.1},
	Slope:            {Mean: math.Log(5.1 / level.PerLn), SD: 0.22},
	Bend:             {Mean: math.Log(4.4), SD: 0.6},
	Steepness:        {Mean: 0.02, SD: 0.04},
	WoundSlope:       {Mean: 0.27, SD: 0.27},
	Protrusion:       {Mean: -0.13, SD: 0.05},
	EndLoss:          {Mean: 0.11, SD: 0.035},
	BendExponent:     {Mean: -0.28, SD: 0.25},
	FieldExponent:    {Mean: 0.5, SD: 0.25},
	HeightSlope:      {Mean: -0.016, SD: 0.014},
	WoundArea:        {Mean: 0, SD: 0.07},
	EndLevel:         {Mean: 0, SD: 0.05},
	WrapCommon:       {Mean: 0, SD: 0.25},
}

// wrapPriors are the prior weights of wraps and how far one may be off on its
// own (standard deviation of the logarithm). How much a wrap counts is a matter of the
// gaps that the flux meets from turn to turn, which all wraps share, more than of what is
// wound: by the field solver of testdata 0.38 for nickel-plated steel, whose turns touch
// its cores; by records of two invented benches a quarter to a third. Others stand to it between
// the ratio of their saturation polarisations (nickel's 0.61 T to iron's 2.15 T; B. D.
// Cullity, C. D. Graham, Introduction to Magnetic Materials) and that of equal steel.
var wrapPriors = map[profiles.Wrap]solve.Normal{
	profiles.Nickel:            {Mean: math.Log(0.13), SD: 0.35},
	profiles.NickelPlatedSteel: {Mean: math.Log(0.31), SD: 0.25},
	profiles.Stainless:         {Mean: math.Log(0.24), SD: 0.35},
	profiles.StainlessFlat:     {Mean: math.Log(0.28), SD: 0.5},  // ribbon fills the ring, but for the gaps from turn to turn: our assumption
	profiles.StainlessHalf:     {Mean: math.Log(0.26), SD: 0.4},  // between ribbon and round wire: our assumption
	profiles.Bronze:            {Mean: math.Log(0.001), SD: 0.5}, // not magnetic
	profiles.PhosphorBronze:    {Mean: math.Log(0.001), SD: 0.5},
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
