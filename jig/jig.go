// Package jig speaks the line protocol of a bench jig, version 1, and holds
// the conversation with one jig over a port: commands and their answers,
// gaps in the sequence of readings, restarts, silence and unplugging.
//
// It knows nothing of pickups, shops or files: readings go out as they came
// in, each exactly once, identified by (jig, boot, seq).
//
// The way of a reading: [Open] opens a port and [Attach] finds out who is
// there; [Conn.Do] has the jig carry out a command and hands each reading to a
// [Sink]. After a [RestartError], [Conn.Reattach] goes on with the new power-up;
// what an earlier conversation has not seen, [Conn.Recover] gets.
//
// A jig is not trusted to be in order: a call ends unless its own command gets on, and
// what a jig makes that nobody asked for is bounded, see [ErrUnresponsive].
//
// The way through the package, in the order in which data flow:
//
//   - jig.go, command.go, line.go: what the lines of the protocol say ([Reading],
//     [Command], [Line]); day.go: the day of a simulated jig.
//   - crc.go, encode.go, numbers.go, decode.go: lines to bytes and back ([Decoder]);
//     which numbers a field can hold stands in numbers.go.
//   - errors.go: what can go wrong with a port or a jig; port.go, list_usb.go,
//     list_names.go: ports ([Open], [List]).
//   - link.go: bytes to and from a port, whole lines at a time (link).
//   - tracker.go: which readings have come and which are missing (tracker).
//   - event.go: what is reported beside readings ([Event], [Stats]).
//   - conn.go: the conversation with one jig ([Conn]); request.go: a command that
//     waits for its answer (request).
//   - attach.go: the dialogue that finds out which jig is there ([Attach]); run.go: the
//     one that carries out a command ([Conn.Do]).
//
// The protocol itself is described for firmware writers in firmware-notes.
package jig

import "fmt"

// Excite says how a jig sets a string moving.
type Excite string

// The kinds of excitation that a jig can name in its I line.
const (
	Travel Excite = "travel" // released from a fixed displacement
	Force  Excite = "force"  // breaks away at a fixed force
	Drive  Excite = "drive"  // an exciter drives the string
)

// Excites lists the kinds of excitation.
func Excites() []Excite { return []Excite{Travel, Force, Drive} }

// MaxStrings is the highest string number that the protocol has room for.
const MaxStrings = 12

// Boot identifies one power-up of a jig: eight hex digits on the line.
type Boot uint32

// String returns the eight upper-case hex digits of the wire format.
func (b Boot) String() string { return fmt.Sprintf("%08X", uint32(b)) }

// Mode says what kind of window a reading was taken over.
type Mode byte

// The modes of an R line.
const (
	Pluck  Mode = 'P'
	Driven Mode = 'D'
	Quiet  Mode = 'Q'
)

// Flags is the bit mask of an R line: what the jig noticed about a take.
type Flags uint32

// The flags of the protocol; other bits are kept but mean nothing to us.
const (
	Clipped      Flags = 1
	DoubleStrike Flags = 2
	ShortWindow  Flags = 4
	Fault        Flags = 8
)

// Ident is what a jig says of itself (an I line).
type Ident struct {
	Jig         string // the jig's own id
	Boot        Boot
	Firmware    string
	Strings     int   // how many strings it can pluck
	FullScaleUV int64 // µV at which the input clips
	Excite      Excite
}

// Reading is one take: one pluck, driven window or quiet window (an R line).
type Reading struct {
	Boot     Boot
	Seq      uint32 // starts at 1 at power-up, wraps at 2^32 to 0
	Millis   uint32 // the jig's clock, ms since power-up; wraps
	String   int    // 1 is the highest-pitched string
	Take     int    // counts from 1 within a command
	Mode     Mode
	RMSUV    int64 // µV
	PeakUV   int64 // µV
	FreqMHz  int64 // mHz
	WindowMS int64 // ms
	Flags    Flags
}

// Field is one flux density measured by the jig's probe (an F line).
type Field struct {
	Boot     Boot
	Seq      uint32
	Millis   uint32
	Position int
	Take     int
	FieldUT  int64 // µT, signed
}

// Status is the line a jig sends every second (an S line).
type Status struct {
	Boot   Boot
	Seq    uint32 // the last one used
	Millis uint32
}

// Answer ends a command: A (done) or E (failed).
type Answer struct {
	ID   uint32
	Code Code   // 0 when done
	Text string // the jig's own words, for E
}

// Code is the reason in an E line.
type Code int

// The codes of an E line.
const (
	Done           Code = 0
	UnknownCommand Code = 1
	BadArgument    Code = 2
	NotAvailable   Code = 3
	Mechanical     Code = 4
	Stopped        Code = 5
	Busy           Code = 6
)
