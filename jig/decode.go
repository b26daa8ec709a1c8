package jig

import (
	"bytes"
	"fmt"
	"math"
)

// A Decoder turns the bytes of a port into lines. A line is what stands
// between two line feeds: after garbage, or a line feed that was lost, the
// next line feed is where it picks up again, and everything before it is one
// bad line. Two lines run together are not taken apart; what was in them is
// missing from the sequence and can be asked for again.
//
// Numbers may have leading zeros and hex digits may be of either case, but
// for the CRC, which is upper case.
type Decoder struct {
	buf  []byte // the start of a line whose end has not come; at most maxHeld bytes
	long bool   // more than that has come of it
	line Line
}

// maxHeld has room for the longest line and its CR.
const maxHeld = MaxLine + 1

// NewDecoder returns a decoder at the start of a line.
func NewDecoder() *Decoder { return &Decoder{buf: make([]byte, 0, maxHeld)} }

// Feed decodes what p completes, in order, and keeps the rest for the next
// call. Each good line goes to good and each bad one to bad; the Line is
// overwritten by the next one. Only I and E lines, commands that are to be
// refused, and bad lines allocate.
func (d *Decoder) Feed(p []byte, good func(*Line), bad func(*BadLine)) {
	for {
		end := bytes.IndexByte(p, '\n')
		if end < 0 {
			d.hold(p)
			return
		}
		text := p[:end]
		if len(d.buf) > 0 {
			d.hold(text)
			text = d.buf
		}
		if b := d.decode(text); b != nil {
			bad(b)
		} else {
			good(&d.line)
		}
		d.buf, d.long = d.buf[:0], false
		p = p[end+1:]
	}
}

// hold keeps the start of a line, and no more of it than a line can have.
func (d *Decoder) hold(p []byte) {
	if room := maxHeld - len(d.buf); len(p) > room {
		p, d.long = p[:room], true
	}
	d.buf = append(d.buf, p...)
}

// decode checks one line and leaves it in d.line.
func (d *Decoder) decode(text []byte) *BadLine {
	if n := len(text); n > 0 && text[n-1] == '\r' && !d.long {
		text = text[:n-1]
	}
	if len(text) > MaxLine {
		return &BadLine{TooLong, string(text[:MaxLine]), fmt.Sprintf("expected at most %d bytes, got more", MaxLine)}
	}
	body, bad := check(text)
	if bad != nil {
		return bad
	}
	d.line = Line{}
	if reason := parse(body, &d.line); reason != "" {
		return &BadLine{Malformed, string(text), reason}
	}
	return nil
}

// check takes the CRC off a line and returns the body that it vouches for.
func check(text []byte) (body []byte, bad *BadLine) {
	star := len(text) - crcDigits - 1
	if star < 0 || text[star] != '*' {
		return nil, &BadLine{Unframed, string(text), "expected * and eight hex digits at the end"}
	}
	got, ok := upperHex(text[star+1:])
	if !ok {
		reason := fmt.Sprintf("column %d: expected eight upper-case hex digits, got %q", star+2, text[star+1:])
		return nil, &BadLine{Unframed, string(text), reason}
	}
	body = text[:star]
	if want := CRC(body); got != want {
		reason := fmt.Sprintf("column %d: expected CRC %08X, got %08X", star+2, want, got)
		return nil, &BadLine{WrongCRC, string(text), reason}
	}
	return body, nil
}

// parse reads a body into l and returns what is wrong with it, or "".
func parse(body []byte, l *Line) string {
	for i, c := range body {
		if !printable(c) || c == '*' {
			return fmt.Sprintf("column %d: expected printable ASCII without *, got %q", i+1, body[i:i+1])
		}
	}
	s := scanner{body: body}
	switch kind := s.next(); string(kind) {
	case "I":
		l.Kind, l.Ident = KindIdent, s.ident()
	case "R":
		l.Kind, l.Reading = KindReading, s.reading()
	case "F":
		l.Kind, l.Field = KindField, s.field()
	case "S":
		l.Kind = KindStatus
		l.Status.Boot, l.Status.Seq, l.Status.Millis = s.stamp()
	case "A":
		l.Kind, l.Answer.ID = KindAnswer, s.uint32(&idNumber)
	case "E":
		l.Kind, l.Answer = KindAnswer, s.failure()
	case "C":
		l.Kind = KindCommand
		return s.command(&l.Command)
	default:
		s.fail("line", "I, R, F, S, A, E or C", kind)
	}
	return s.finish()
}

func (s *scanner) ident() (x Ident) {
	s.int(&versionNumber)
	x.Jig = s.text("jig", 1)
	x.Boot = Boot(s.hex("boot", 8))
	x.Firmware = s.text("firmware", 0)
	x.Strings = int(s.int(&stringsNumber))
	x.FullScaleUV = s.int(&fullScaleNumber)
	x.Excite = s.excite()
	return x
}

func (s *scanner) excite() Excite {
	got := s.next()
	for _, x := range Excites() {
		if string(got) == string(x) {
			return x
		}
	}
	s.fail("excite", "travel, force or drive", got)
	return ""
}

func (s *scanner) reading() (x Reading) {
	x.Boot, x.Seq, x.Millis = s.stamp()
	x.String = int(s.int(&stringNumber))
	x.Take = int(s.int(&takeNumber))
	x.Mode = s.mode()
	x.RMSUV = s.int(&rmsNumber)
	x.PeakUV = s.int(&peakNumber)
	x.FreqMHz = s.int(&freqNumber)
	x.WindowMS = s.int(&windowNumber)
	x.Flags = Flags(s.hex("flags", 1))
	return x
}

func (s *scanner) mode() Mode {
	got := s.next()
	switch string(got) {
	case "P", "D", "Q":
		return Mode(got[0])
	}
	s.fail("mode", "P, D or Q", got)
	return 0
}

func (s *scanner) field() (x Field) {
	x.Boot, x.Seq, x.Millis = s.stamp()
	x.Position = int(s.int(&positionNumber))
	x.Take = int(s.int(&takeNumber))
	x.FieldUT = s.int(&fieldNumber)
	return x
}

// stamp reads what R, F and S lines have in common.
func (s *scanner) stamp() (b Boot, seq, millis uint32) {
	return Boot(s.hex("boot", 8)), s.uint32(&seqNumber), s.uint32(&millisNumber)
}

func (s *scanner) failure() (x Answer) {
	x.ID = s.uint32(&idNumber)
	x.Code = Code(s.int(&codeNumber))
	x.Text = s.remainder("text")
	return x
}

// command reads a command. One that has an id is always a good line: what is
// wrong with the rest of it is for the jig to answer.
func (s *scanner) command(c *Command) string {
	c.ID = s.uint32(&idNumber)
	if s.reason != "" {
		return s.reason
	}
	c.Verb = verb(s.next())
	switch c.Verb {
	case VerbUnknown:
		c.Refuse = UnknownCommand
		return ""
	case VerbPluck, VerbQuiet:
		c.String, c.Count = s.str(), s.count()
	case VerbDrive:
		c.String, c.FreqMHz, c.Count = s.str(), s.int(&driveNumber), s.count()
	case VerbField:
		c.Position, c.Count = int(s.int(&positionNumber)), s.count()
	case VerbResend:
		c.Boot, c.From, c.To = Boot(s.hex("boot", 8)), s.uint32(&fromNumber), s.uint32(&toNumber)
	}
	if s.finish() != "" {
		*c = Command{ID: c.ID, Verb: c.Verb, Refuse: BadArgument}
	}
	return ""
}

func (s *scanner) str() int   { return int(s.int(&stringNumber)) }
func (s *scanner) count() int { return int(s.int(&countNumber)) }

func verb(word []byte) Verb {
	for v := VerbIdent; v <= VerbStop; v++ {
		if string(word) == v.String() {
			return v
		}
	}
	return VerbUnknown
}

// A scanner takes the fields of a body one by one. After the first failure it
// returns zeros.
type scanner struct {
	body   []byte
	at     int // start of the next field; past the end by two when there is none
	column int // of the field that was taken last, 1 is the first byte
	reason string
}

// next takes a field; it is nil when the line has no more.
func (s *scanner) next() []byte {
	if s.at > len(s.body) {
		s.column = len(s.body) + 1
		return nil
	}
	s.column = s.at + 1
	rest := s.body[s.at:]
	end := bytes.IndexByte(rest, ',')
	if end < 0 {
		end = len(rest)
	}
	s.at += end + 1
	return rest[:end:end]
}

// fail notes the first thing that is wrong.
func (s *scanner) fail(key, expected string, got []byte) {
	if s.reason != "" {
		return
	}
	found := "nothing"
	if got != nil {
		found = quote(string(got))
	}
	s.reason = fmt.Sprintf("column %d: %s: expected %s, got %s", s.column, key, expected, found)
}

// finish returns what is wrong with the line, surplus fields included.
func (s *scanner) finish() string {
	if s.reason == "" && s.at <= len(s.body) {
		s.column = s.at + 1
		s.fail("line", "its end", s.body[s.at:])
	}
	return s.reason
}

// text takes a text of at least least bytes.
func (s *scanner) text(key string, least int) string {
	got := s.next()
	if got == nil || len(got) < least {
		s.fail(key, "a text", got)
	}
	return string(got)
}

// remainder takes all that is left, commas and all.
func (s *scanner) remainder(key string) string {
	if s.at > len(s.body) {
		return s.text(key, 0)
	}
	text := string(s.body[s.at:])
	s.at = len(s.body) + 1
	return text
}

func (s *scanner) uint32(n *number) uint32 { return uint32(s.int(n)) }

// int takes a decimal number.
func (s *scanner) int(n *number) int64 {
	got := s.next()
	v, ok := decimal(got)
	if !ok || v < n.low || v > n.high {
		s.fail(n.name, n.span(), got)
		return 0
	}
	return v
}

// decimal reads an integer: digits, with a minus sign before them or not.
func decimal(p []byte) (v int64, ok bool) {
	digits := bytes.TrimPrefix(p, []byte("-"))
	if len(digits) == 0 {
		return 0, false
	}
	for _, c := range digits {
		d := int64(c) - '0'
		if d < 0 || d > 9 || v > (math.MaxInt64-d)/10 {
			return 0, false
		}
		v = v*10 + d
	}
	if len(digits) < len(p) {
		v = -v
	}
	return v, true
}

// hex takes a hex number of eight digits, or of as few as least.
func (s *scanner) hex(key string, least int) (v uint32) {
	got := s.next()
	ok := len(got) >= least && len(got) <= 8
	for _, c := range got {
		d, hex := hexDigit(c)
		ok = ok && hex
		v = v<<4 | d
	}
	if !ok {
		s.fail(key, hexWidth(least), got)
		return 0
	}
	return v
}

func hexWidth(least int) string {
	if least == 8 {
		return "8 hex digits"
	}
	return fmt.Sprintf("%d to 8 hex digits", least)
}
