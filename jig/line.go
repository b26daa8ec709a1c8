package jig

import "strconv"

// MaxLine is the longest line, in bytes, counted without its line end (LF or
// CR LF). The protocol says 160 bytes a line and not whether the line end
// counts; what arrives is given the benefit of the doubt.
const MaxLine = 160

// Version is the protocol version that an I line must name.
const Version = 1

// Kind says which line a [Line] is.
type Kind byte

// The kinds of line: the first five come from a jig, the last goes to it.
const (
	KindIdent   Kind = iota + 1 // I
	KindReading                 // R
	KindField                   // F
	KindStatus                  // S
	KindAnswer                  // A or E
	KindCommand                 // C
)

// Line is one good line. Only the member that Kind names is set.
type Line struct {
	Kind    Kind
	Ident   Ident
	Reading Reading
	Field   Field
	Status  Status
	Answer  Answer
	Command Command
}

// boot returns the power-up that a line speaks of; answers and commands speak
// of none.
func (l *Line) boot() (b Boot, ok bool) {
	switch l.Kind {
	case KindIdent:
		return l.Ident.Boot, true
	case KindReading:
		return l.Reading.Boot, true
	case KindField:
		return l.Field.Boot, true
	case KindStatus:
		return l.Status.Boot, true
	}
	return 0, false
}

// Flaw is the kind of thing that is wrong with a bad line.
type Flaw byte

// The flaws, in the order in which a line is looked at.
const (
	TooLong   Flaw = iota // more than MaxLine bytes
	Unframed              // no *CRC at its end
	WrongCRC              // the CRC is not that of the body
	Malformed             // the CRC is right, but the body does not parse
)

// Flaws lists the flaws.
func Flaws() []Flaw { return []Flaw{TooLong, Unframed, WrongCRC, Malformed} }

// String names the flaw for people.
func (f Flaw) String() string {
	return [...]string{"too long", "no CRC", "wrong CRC", "malformed"}[f]
}

// BadLine is a line that is not to be believed.
type BadLine struct {
	Flaw   Flaw
	Text   string // as received, at most MaxLine bytes of it, without the line end
	Reason string // what was wrong, with the column (1 is the first byte) where there is one
}

// Error says what was wrong, and with which line.
func (b *BadLine) Error() string { return "bad line " + quote(b.Text) + ": " + b.Reason }

// quote quotes text from the line, in ASCII.
func quote(s string) string { return strconv.QuoteToASCII(s) }
