// Package capture runs a capture and keeps the shop's record on disk.
//
// The record only ever grows. A reading is called kept after its row is
// written and synced, never before; what a crash tore is set aside and
// reported, never silently dropped.
//
// # The shop folder
//
//   - readings.csv and fields.csv are the record: what the jig measured, one
//     row a reading. Nothing derived is in them and no row is ever rewritten; a
//     row with the status "retracted" takes back an earlier one of the same jig,
//     boot and seq. Columns that a person has added stay, and so does the
//     person's order of columns.
//   - readings.seals.csv and fields.seals.csv hold a digest of what each row of
//     the record said when it was written, for [Verify]; nothing else needs them.
//   - sessions.csv says who commanded what: a row for each time that a capture
//     took hold of a jig in one power-up. What that jig made there was commanded
//     by the last row whose after_seq lies before its seq. A row without a
//     session follows when one is complete: what comes then is another's.
//   - mounts/ has a copy of every mount that was captured, named after the
//     pickup (or the batch of loose magnets) and a digest of what it says.
//   - readings.torn-TIME.csv and the like are last lines that a power cut tore.
//   - writer.lock names the process that is writing; it is empty when none is.
//
// A file is synced as far as the system goes: on macOS down to the medium, on
// Linux and Windows as far as the drive is honest. The name of a new file is
// synced too, but for Windows, which has no call for that.
//
// All of them are plain files, written with commas and CR LF as RFC 4180 has
// it, times in UTC. strings.toml, if there is one, is package profiles' affair.
//
// # Sessions
//
// A session is all that was captured for one purpose with one mount, which is
// the same when it says the same, whatever its file is called. A capture goes on
// with the latest such session; the same command therefore resumes what was
// interrupted and adds nothing to what is complete. Repetitions, as a repeat
// study needs them, are separate sessions: see [Options.Again].
package capture
