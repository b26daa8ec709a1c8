// Package curve is the falloff model's equation: how the level of a string follows
// its steel, its velocity and the pole under it, what is known of that before there
// are data, and what makes cells differ beside it.
//
// A string over a pole is a [Site] (site.go), whose velocity excite.go works out
// from the way in which the string is set moving. A [Curve] (falloff.go, where the
// equation stands) predicts ln v of a site from parameters, and gives the
// derivatives; at.go and steels.go do both for many sites. The parameters' places and
// names stand in parameters.go, their priors with sources in priors.go; poles.go moves
// them for poles of another diameter and spacing. effects.go lists the random effects:
// pickups, poles, strings, mountings and what else cells have in common. causes.go
// splits the balance of a pickup's strings into the causes that the equation knows.
// Package [evenpole/fit] fits all this to cells.
//
// A new term is a parameter in parameters.go with its name, a prior in priors.go, a
// summand in Predict and its derivative in Gradient (a test compares the two), and,
// in fit, words for what the data do not tell of it. A term of a new input needs a
// field of Site, a cause in causes.go and a line in hybrid.
//
// A new effect is a place and a line in effects.go and, in fit/explain, the cause
// that it stands for. Both change how many parameters or standard deviations a
// model file holds: files written before no longer load.
//
// Lengths are in mm, levels in ln v (v in RMS mV). A level of an effect is, as
// statisticians say, one of the things that have it: one pickup, one pole.
package curve
