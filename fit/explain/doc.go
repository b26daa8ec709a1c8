// Package explain says why a model predicts what it predicts, for people and for
// pictures.
//
// An [Explanation] splits the balance of a pickup's strings into causes: of a planned
// pickup with [ExplainSetup] (explain.go), by the causes that the curve knows; of a
// measured one with [ExplainPickup] (pickup.go), where the effects that the model finds
// in its cells are causes, too, and what is left is said. How the curve is split stands
// in package curve. A new effect of the falloff model needs a line in effectCauses.
//
// A [Diagnosis] (diagnosis.go) is what pictures of a model show, from [Diagnose]
// (diagnose.go): every pickup predicted from the others ([fit.PredictUnseen]), the
// falloff for classes of strings with about as much steel (falls.go), and the random
// effects with their intervals (effects.go).
//
// Figures are in dB where exported and in ln v inside; lengths in mm.
package explain
