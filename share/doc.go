// Package share makes one record of many benches': each pushes what is new in its shop and
// pulls what others added, through a carrier: a database (share/postgres) or a folder
// (share/folder). How entries are merged is decided here, once for both.
//
// # What is shared
//
// A bench adds to streams of its own, and to no other's: an entry for each row of readings.csv,
// fields.csv, sessions.csv and the two files of seals, and one for each version of a mount, a
// calibration, an order, the string sets and what a person decided of names. Retractions and
// rows that were filed anew are rows. Entries are numbered from 1, and each has a chain, a
// digest of all that the stream said up to there ([Head]).
//
// # How it is merged
//
//   - An entry is named by bench, stream and number. One that is there is never added again:
//     what was pushed twice, or by a push that was cut off after the carrier had kept it, comes
//     once. A reading that two benches have, as one imported the other's, has one jig, boot and
//     number; [record.Standing] has it count once, as everywhere.
//   - How far a side has come is how many entries it has. Nothing else is noted that could say
//     otherwise after a crash, no clock is asked, and the order of benches changes nothing.
//   - A bench's own files are read and never written. What others added stands in a folder for
//     each, laid out as a shop.
//   - Entries are compared with their chains before they are written, and a bench's own rows
//     with what was shared of them before more are pushed. What does not agree is named, and
//     changes nothing: [Fault], [DivergedError].
//   - Sessions are called BENCH/SESSION for all. A jig, pickup, batch or string set whose name
//     two benches use is kept apart, with its bench's name after an @, until a person decides
//     ([View], [Clash]); string sets of the same strings, and jigs whose readings are copies,
//     are not asked about.
//
// # The way through the package
//
//   - entry.go: streams, entries and heads; carrier.go: [Carrier], faults and errors.
//   - files.go: the files of a shop's folder shared/, and how they are added to; settings.go:
//     how a shop joins ([Join]).
//   - documents.go: files that are kept whole, with their versions.
//   - replica.go: a bench's streams as files, its own and the copies of others'.
//   - names.go: what names mean, and what people decided of them.
//   - sync.go: [Bench.Exchange], push and pull.
//   - view.go: the rows of all benches as one, to fit or to export.
//   - status.go: what is ahead and behind, and [Bench.Verify].
package share
