// Package capture runs a capture: it has the jig pluck what is still missing, and
// keeps what the jig sends in the shop's record, which package capture/record writes.
//
// A reading is called kept after its row is written and synced, never before.
//
// # Sessions
//
// A session is all that was captured for one purpose with one mount, which is
// the same when it says the same, whatever its file is called. A capture goes on
// with the latest such session; the same command therefore resumes what was
// interrupted and adds nothing to what is complete. Repetitions, as a repeat
// study needs them, are separate sessions: see [Options.Again].
//
// A hold is a row of sessions.csv that says that what a jig makes in one power-up
// after some sequence number was commanded by a session. A capture adds one before
// its first command and after each restart of the jig, and one without a session when
// it is complete. So what a jig still has from before can be filed by who commanded it.
//
// # The way through the package
//
// Read [Run] in run.go first. The files, each of which uses only those before it:
//
//   - options.go says what to capture, and makes steps of it: so many good takes of
//     each string, the quiet level first.
//   - result.go has what came of it, and the reasons why takes do not count.
//   - state.go finds out which session it is and how far that has got, and adds holds.
//   - until.go ends the takes of a string once its mean is known well enough.
//   - day.go has the clock that rows are dated by.
//   - rows.go makes a row of what the jig sent; keep.go fills in the cell from the
//     mount, writes the row and counts its take.
//   - tail.go fetches what the jig still has from before, and goes on after a restart.
//   - run.go does the steps, one after the other.
//   - recorded.go files what was plucked in a recording, without a jig.
//   - open.go opens what Run works with, in the right order; pace.go tells how long a capture
//     may take yet.
package capture
