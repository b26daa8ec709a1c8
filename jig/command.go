package jig

// Verb is what a command asks for.
type Verb byte

// The verbs of a C line. VerbUnknown is what the decoder makes of any other
// word: a jig has to refuse it by its id.
const (
	VerbUnknown Verb = iota
	VerbIdent
	VerbPluck
	VerbDrive
	VerbQuiet
	VerbField
	VerbResend
	VerbStop
)

var verbs = [...]string{"UNKNOWN", "IDENT", "PLUCK", "DRIVE", "QUIET", "FIELD", "RESEND", "STOP"}

// String returns the word of the wire format.
func (v Verb) String() string { return verbs[v] }

// Command is a C line: what the host asks of the jig. Which members count
// depends on the verb.
type Command struct {
	ID       uint32
	Verb     Verb
	String   int    // PLUCK, DRIVE, QUIET: 1 is the highest-pitched string
	Position int    // FIELD: where the probe is
	FreqMHz  int64  // DRIVE: mHz
	Count    int    // PLUCK, DRIVE, QUIET, FIELD: how many takes
	Boot     Boot   // RESEND: the power-up that the readings are of
	From, To uint32 // RESEND: an inclusive range of seq, From after To when it wraps

	// Refuse is set by the decoder when the line is sound and has an id, but
	// asks for what no jig does: UnknownCommand or BadArgument. It is not sent.
	Refuse Code
}

// MaxCount is the most takes that one command may ask for. It stays well below
// the 256 readings that a jig keeps, so that a gap can still be asked for when
// the command has ended.
const MaxCount = 200

// PluckCommand asks for count plucks of a string. The id of this and of the
// other commands is given when the command is sent.
func PluckCommand(str, count int) Command {
	return Command{Verb: VerbPluck, String: str, Count: count}
}

// QuietCommand asks for count quiet windows of a string.
func QuietCommand(str, count int) Command {
	return Command{Verb: VerbQuiet, String: str, Count: count}
}

// DriveCommand asks for count windows of a string driven at freqMHz (mHz).
func DriveCommand(str int, freqMHz int64, count int) Command {
	return Command{Verb: VerbDrive, String: str, FreqMHz: freqMHz, Count: count}
}

// FieldCommand asks for count field readings at a probe position.
func FieldCommand(position, count int) Command {
	return Command{Verb: VerbField, Position: position, Count: count}
}

// modes says what kind of reading a verb makes; 0 is none.
var modes = [...]Mode{VerbPluck: Pluck, VerbDrive: Driven, VerbQuiet: Quiet, VerbStop: 0}

// yields tells whether a reading can be one that c asked for.
func (c Command) yields(r Reading) bool {
	return r.Mode == modes[c.Verb] && r.String == c.String
}

// yieldsField tells whether a field reading can be one that c asked for.
func (c Command) yieldsField(f Field) bool {
	return c.Verb == VerbField && f.Position == c.Position
}
