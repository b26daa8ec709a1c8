// Package layout makes a model that knows one pole under each string predict pickups that
// have something else there: two poles a string, two strings a pole, poles beside their
// strings, a blade, a second coil.
//
// The model's own curve stays what it is. A string over poles that stand elsewhere is
// taken to lie at another gap, the one at which a single pole right under it would be as
// strong; two coils are two strings' worth of signal, added or subtracted. What is not
// known of such pickups before one was measured widens what is said, and is said.
//
// The way through the package, in the order in which data flow:
//
//   - modes.go: how a string moves over two places along it (motion), and where two coils
//     cancel ([Cancelled]).
//   - sheet.go: the field of an evenly charged face, of which a blade is made.
//   - reach.go: at which gap one pole would be as strong (reach).
//   - bar.go: what poles of steel over a bar magnet change (bar).
//   - coils.go: the signal of two rows of poles.
//   - over.go: [Over], the model for an order's pickup.
//
// Lengths are in mm, levels in ln v.
package layout
