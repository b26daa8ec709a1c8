// Package screen looks for the mistakes that shops make in their records: lengths with
// the point in a wrong place or in inches, heights swapped or listed from the wrong
// end, a wrong string set, a wrong pickup, takes that were cut off, levels that drift.
// [Screen] lowers the weight of the cells that they touch and says what it found; it
// deletes nothing and puts nothing right in the record.
//
// How a mistake is found: a mounting is one time that a pickup lay on the jig under its
// strings (mountings.go). Each mistake that it may hold is a hypothesis: its cells as they
// would have been filed without the mistake. The evidence for it is ln of the likelihood ratio to the record as filed, from
// two sources: how likely the mounting's levels are given the rest of the record, and
// whether its heights and batch repeat other lists as the shop usually does. The
// likeliest hypothesis is accepted, the record corrected by it, and the search begins
// again.
//
// The way through: screen.go runs the rounds on a screener (screener.go), which holds
// the record as filed and as corrected so far. In each round likelihood.go fits a
// levelModel to all cells, whose knowledge of the shared unknowns is an information
// (information.go), and habits.go learns how the shop fills in its lists. For each
// mounting, hypotheses.go lists what may be wrong, from wrong_lengths.go (columns and
// factors stand in lengths.go) and wrong_names.go; evidence.go weighs each by the
// conditional distribution of the levels (conditional.go), and trend.go looks for a
// drift. Takes that were cut off are found first and apart, in clipping.go. mistakes.go
// names the kinds, how much evidence each needs and what weight cells keep.
//
// A new kind of mistake is a name in mistakes.go and a function that lists its
// hypotheses, added to the list in hypotheses.go; bench/slips counts how often it is
// found, and false alarms.
//
// Levels are in ln v, lengths in mm; an index of a cell is its place in screener.cells.
package screen
