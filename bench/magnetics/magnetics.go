// Package magnetics computes what a pickup hears of a string from what both are
// made of: rods with a permeability of their own, a coil, steel with a magnetisation
// curve. It is slower and more general than any model's formula, shares no code with
// the models or the simulated jig, and says what they should expect.
//
// A point's field comes from charged rings (ring.go). A [Rod] is a surface of such
// rings whose charges follow from its remanence and from the field at its surface
// (rod.go); the [Coil] is loops of wire (coil.go); a [Pickup] is rods that
// magnetise each other inside a coil (pickup.go). [Steel] has a curve (steel.go); a
// [String] is magnetised along itself against its own demagnetisation
// (string.go), and sends a flux through the coil that follows from the coil's own
// field by reciprocity (level.go).
//
// Lengths are in mm, flux densities and polarisations in T. A magnetic charge is a
// polarisation times an area, T mm². The scale of levels is arbitrary.
//
// What is left out: the string does not magnetise the rods, rods answer to each other
// and to the coil evenly round their axes, and a wrap is a homogeneous ring round the
// core.
package magnetics
