// Package fit makes models of how a string's level follows the pole under it, from the
// cells of a record, and predicts with them: pickups that nobody has measured, and, to
// measure a model's error, pickups that were left out.
//
// The way of the data: a kind of model (kinds.go) fits a [Model] to the cells of a
// [cell.Data]; [Best] fits every kind, measures each by leaving pickups and string sets
// out, and returns the one that predicts best as a [Result], which [Result.Write] keeps
// in a file. Planning and verdicts then ask the model's [Predictor] for the levels of a
// [Setup].
//
// File by file, from what is predicted to what is kept:
//
//   - setup.go, model.go, range.go: what is predicted, what a model is able to do, and
//     the range of what it was fitted to, outside of which it warns. check.go: what a
//     model may hold, so that it predicts in numbers.
//   - falloff.go: [Falloff], the model with the equation of package curve and random
//     effects. falloff_layout.go lays its cells out as a mixed model, falloff_sites.go
//     makes the curve linear for them, falloff_fit.go fits it, falloff_temper.go says how much
//     of a long record counts, falloff_leaveout.go leaves
//     pickups and string sets out of it without fitting anew, falloff_notes.go says what the
//     data did not tell, falloff_predict.go predicts;
//     falloff_effects.go finds the effects in given cells ([CellEffects], [Posterior]),
//     from which package explain says what makes strings differ. handbook.go is the model
//     without a reading, from priors alone. falloff_decode.go reads and checks what stands
//     in a file.
//   - loglinear.go, loglinear_fit.go, loglinear_predict.go, loglinear_decode.go: the
//     log-linear models, plain least squares to compare with, within the pickups of
//     groups.go; loglinear_moments.go adds cells up for them, and leaves parts out by
//     taking their sums off.
//   - kinds.go: the table of kinds.
//   - parts.go, crossval.go: leaving out. Each pickup, then each string set, is a [Fold]: it
//     is predicted from the rest, by its share of the equations where that is exact enough
//     (a leaver), else by a model fitted to the rest. unseen.go predicts pickups
//     so for pictures, with intervals. rms.go adds up the errors; trend.go and
//     mannkendall.go look for a drift in them.
//   - result.go, best.go: fitting, measuring and choosing. history.go and compare.go:
//     comparing a shop's model with a new one on pickups that they have not seen.
//   - file.go: model files, checked when they are read.
//
// A new kind of model is a type that satisfies Model in a file of its own, with a function
// that fits it to data and one that reads its state, and an entry in the table of kinds;
// its place there says how it is preferred where data cannot tell. A model that may not
// know what a pole's height does has a method knowsHeights (see best.go). A new term
// or effect of the falloff model begins in package curve.
//
// A model file is one JSON object: format and version, the program that wrote it, the
// fingerprint of the data, how it came into the shop (history), the fit's [Report], and the
// state, which is the fitted type of the kind as JSON. It is written once and never
// changed. The same record and program give the same bytes but for history.
//
// Levels are in ln v (v in RMS mV) where models work and in dB where people read; see
// package level. Lengths are in mm.
package fit
