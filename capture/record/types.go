// Package record keeps a shop's record on disk: what the jig measured, one row a
// reading, in files that only ever grow. A reading is called kept after its row is
// written and synced, never before.
//
// # The shop folder
//
//   - readings.csv and fields.csv are the record. Nothing derived is in them and no
//     row is ever rewritten; a row with the status "retracted" takes back an earlier
//     one of the same jig, boot and seq. Columns that a person has added stay, and so
//     does the person's order of columns.
//   - sessions.csv has the holds. A session is all that was captured for one purpose
//     with one mount. A hold is a row that says: what this jig makes in this power-up
//     after this number was commanded by this session, and who captures. A hold without
//     a session ends the one before; one without a jig says which mount a session was
//     filed anew with.
//   - readings.seals.csv and fields.seals.csv have the seals. A seal is a digest of
//     what a row said when it was written. [Verify] compares rows with their seals;
//     nothing else needs them.
//   - readings.torn-TIME.csv and the like have torn lines. A torn line is a last line
//     that a power cut left without its end; it is set aside into such a file and
//     reported, never silently dropped. readings.seals.until-TIME.csv and the like
//     are seals that [Writer.Seal] set aside.
//   - mounts/ has a copy of every mount that was captured, named after the pickup (or
//     the batch of loose magnets) and a digest of what the mount says.
//   - writer.lock names the process that is writing; it is empty when none is.
//     writer.open is there while rows are being written, and after a crash. While
//     either tells of a writer, rows may lack a seal; the next writer seals them when it
//     opens the record, before it signs the lock.
//
// All of them are plain files, written with commas and CR LF as RFC 4180 has it,
// times in UTC; the room disk makes them last.
//
// # The way through the package
//
// Read columns.go first: the list of the columns of each file. A column is added
// there, in one line, and to the struct in types.go; the same list reads, writes,
// seals and imports it. Writer.open then names it as optional, so that the files that
// shops have are still written to, and package capture fills it in.
//
// [Standing], in standing.go, says which rows count: not those of a reading that
// stands twice or was taken back. Every other room asks it, and drops them.
//
// The files, each of which uses only those before it:
//
//   - types.go has the values, takes.go what a reading counts for, recorder.go which
//     takes are a recorder's, columns.go the columns.
//   - folder.go names the files of a shop folder; read.go reads them while a writer
//     may be at work; end.go reads the end of a file alone; stand.go tells how far one was read, and reads what came since;
//     progress.go tells people how far long work is.
//   - sessions.go has the holds, seal.go says what a seal covers, and textrow.go reads rows
//     as text, their digests, and both with what they say.
//   - sealer.go writes seals and ledger.go rows, torn.go sets torn lines aside, and
//     writer.go is the one process that may do all this; operator.go tells who captured,
//     and gives an older sessions.csv its column for it; mounts.go keeps copies of
//     mounts.
//   - standing.go says which rows count, retractions.go counts them in one pass. about.go has what the rows of both files have
//     in common; history.go tells a capture what there is already, mounted.go what was
//     on the jig when a pickup was measured before; retract.go takes
//     readings back, amend.go files a session anew, export.go copies rows out.
//   - recorded.go finds rows of a person's spreadsheet in the record, import.go adds
//     the rest.
//   - finding.go has what can be wrong with a record, commanded.go finds what sessions.csv
//     lost, match.go compares rows with seals, verify.go does all of it; reseal.go seals a
//     record as it stands.
//   - copies.go reads the record's files as text, for copies of it elsewhere.
//
// The room table turns values into rows of text and back and finds a torn line, sheet
// reads a person's spreadsheets and lists and refuses lengths that no mount may have,
// numbers keeps sequence numbers, pack turns what was made of rows into bytes and back.
package record

import (
	"time"

	"evenpole/profiles"
)

// Purpose says what a capture is for.
type Purpose string

// The purposes that the record knows.
const (
	ForModel  Purpose = "model"
	ForBatch  Purpose = "batch"
	ForCheck  Purpose = "check"
	ForRepeat Purpose = "repeat"
)

// Purposes lists the purposes that the record knows.
func Purposes() []Purpose { return []Purpose{ForModel, ForBatch, ForCheck, ForRepeat} }

// ParsePurpose reads the name of a purpose.
func ParsePurpose(text string) (Purpose, error) { return profiles.OneOf(text, Purposes()) }

// UsualTakes is how many good takes of a string a capture makes where nothing else
// is asked for.
const UsualTakes = 10

// Mode says how a take was made.
type Mode string

// The modes that the record knows, and Probe, which is that of a field reading and
// stands in no file.
const (
	Pluck Mode = "P"
	Drive Mode = "D" // by an exciter
	Quiet Mode = "Q" // of the quiet level
	Probe Mode = "F"
)

// Modes lists the modes of readings.
func Modes() []Mode { return []Mode{Pluck, Drive, Quiet} }

// Status of a row: what the jig said of the take, or that the row takes one back.
type Status string

// The statuses that the record knows. Of several flags the first in this order is
// the status, and all of them stand in the note.
const (
	OK           Status = "ok"
	Faulty       Status = "fault"
	Clipped      Status = "clipped"
	DoubleStrike Status = "double_strike"
	ShortWindow  Status = "short_window"
	Retracted    Status = "retracted"
)

// Statuses lists the statuses that the record knows.
func Statuses() []Status {
	return []Status{OK, Faulty, Clipped, DoubleStrike, ShortWindow, Retracted}
}

// ParseStatus reads the name of a status.
func ParseStatus(text string) (Status, error) { return profiles.OneOf(text, Statuses()) }

// Reading is one row of readings.csv. A numeric field that is absent or empty
// in the file is NaN (floats) or 0 (String, Take); a time that is absent is the
// zero time. Lengths in mm, levels in RMS mV at the pickup's terminals.
type Reading struct {
	Time         time.Time
	Session      string
	Purpose      Purpose
	Jig          string
	Boot         string // eight hex digits, as the jig sends it
	Seq          uint32
	HasSeq       bool // false for a spreadsheet row without seq
	Pickup       string
	Batch        string
	String       int
	StringSet    string
	Core         float64 // mm
	Gauge        float64 // mm
	Wrap         profiles.Wrap
	PoleHeight   float64 // mm
	StringHeight float64 // mm
	Mode         Mode    // "" counts as Pluck
	Take         int
	RMS          float64 // mV
	Peak         float64 // mV
	Freq         float64 // Hz
	Window       float64 // ms
	Quiet        float64 // mV
	Excite       profiles.Excitation
	Status       Status // "" counts as ok
	Note         string
	Under        profiles.Under // what is under the strings where it is not one pole each
	PoleHeight2  float64        // mm, of the pole in a second coil; means nothing without Gain2
	Gain2        string         // by how much the string moves over that coil, by how much it moves over the first; negative where its signal is subtracted; "" with one coil

	Line int // line of the file on which the row starts, 1 is the header; 0 when new

	// Scale is no column: levels of one scale compare with one another alone, see
	// ScaleOf. "" where they are in mV. Package fit/gain fills it in.
	Scale string
}

// TwoCoils reports whether the row is of a pickup with two coils.
func (r *Reading) TwoCoils() bool { return r.Gain2 != "" }

// FieldReading is one row of fields.csv. Pickup and String are empty for a
// loose magnet.
type FieldReading struct {
	Time     time.Time
	Session  string
	Jig      string
	Boot     string
	Seq      uint32
	HasSeq   bool
	Batch    string
	Magnet   string
	Pickup   string
	String   int
	Position int
	Take     int
	Field    float64 // mT, signed
	ProbeGap float64 // mm
	Status   Status
	Note     string

	Line int
}
