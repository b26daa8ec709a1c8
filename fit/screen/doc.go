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
// the record as filed and as corrected so far. In the first round lists.go says which
// mountings may be compared, habits.go learns how the shop fills in its lists, and
// likelihood.go fits a levelModel to all cells. For each mounting, hypotheses.go tries
// what may be wrong, from wrong_lengths.go (columns and factors stand in lengths.go) and
// wrong_names.go; evidence.go weighs each beside the mounting as filed (baseline.go), and
// trend.go looks for a drift. What is found is
// put right, and the next round does all this again; where that is little of a large
// record, corrections.go carries it over into the levelModel, and the round looks again at
// what it concerns. Takes that were cut off are found first and apart, in clipping.go.
// mistakes.go names the kinds, how much evidence each needs and what weight cells keep.
//
// How levels are weighed in time proportional to cells: a cell's level is a row (rows.go)
// of shared unknowns, of its pickup's level, of its pole's, of its mounting's lift, and of
// noise. elimination.go adds up a pickup's rows and eliminates what is local to it, which
// leaves an information (information.go) on the shared unknowns. From what the whole
// record says, surroundings.go takes one mounting's levels away again: what is left is a
// normal distribution of its few cells, under any hypothesis. The density of all of a
// pickup's levels is that of its other cells, which no hypothesis changes, times that of
// the mounting's given those. A test compares all this with dense covariances. The rows of
// one pickup are in memory at a time, and whatever a hypothesis needs is used again for the
// next one. Pickups that may have been mixed up with a mounting's are as many as there are:
// they are tried where its levels can become so much likelier that one of so many has enough
// evidence, which of a mounting without a mistake is the rarer the more there are; and of
// their lists of pole heights rough.go excludes most for little. small.go
// has the arithmetic of small matrices, chunks.go spreads work over cores: results are the
// same on any number of them.
//
// A new kind of mistake is a name in mistakes.go and a function that lists its
// hypotheses, added to the list in hypotheses.go; bench/slips counts how often it is
// found, and false alarms.
//
// Levels are in ln v, lengths in mm; an index of a cell is its place in screener.cells.
package screen
