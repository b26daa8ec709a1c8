// Package jigtest is a jig for tests. It speaks version 1 of the line protocol
// of firmware-notes over any io.ReadWriter or a pseudo-terminal, and can be told
// what to get wrong.
//
// It shares no code with the host's side of the conversation, so that a misreading
// of the protocol on one side shows on the other. What it measured is in
// [Jig.Log]: the truth that a record made from it must agree with.
//
// Where the protocol leaves a choice, this jig
//   - answers a command that it cannot use (E 1, E 2, E 3) on arrival;
//   - always has room for IDENT, which it never refuses;
//   - answers what STOP ends with E 5, in order, and then STOP itself;
//   - goes on with its commands while its port is lost;
//   - names the first reading of a RESEND that it no longer has.
//
// The way through the package: jigtest.go has what the jig is and what goes wrong ([Config]);
// wire.go has lines with their CRC, and a bad cable ([Wire]); command.go says what a command asks
// and which error it earns, reading.go makes its readings; serve.go is the jig on a port, and
// terminal.go, with termios.go, a port for it.
package jigtest

import (
	"math"
	"math/rand/v2"
	"sync"
	"time"
)

// Flags of a reading.
const (
	Clipped = 1 << iota
	DoubleStrike
	ShortWindow
	MechanicalFault
)

// Config says what the jig is and what goes wrong. The zero value is a faultless
// six-string jig that releases the string from a fixed displacement and has a
// field probe.
type Config struct {
	Name      string // default "test-jig"
	Firmware  string // default "jigtest"
	Strings   int    // default 6
	FullScale int    // uV, default 2 000 000
	Excite    string // "travel" (default), "force" or "drive"

	Boot     uint32 // of the first power-up, default 0xA1B2C3D4; each later one differs
	FirstSeq uint32 // seq of the first reading after the first power-up, default 1
	Clock    uint32 // ms at the first power-up

	Level   func(Shot) int              // uV RMS, default [Level]
	Flags   map[Shot]int                // default none
	Field   func(position, nth int) int // uT, default [Field]
	NoProbe bool                        // FIELD ends with E 3

	TakeTime    time.Duration // from one take to the next, default 2 ms
	StatusEvery time.Duration // from one S line to the next, default 50 ms
	BootTime    time.Duration // deaf and mute after a restart, default 10 ms
	Keep        int           // readings kept for RESEND, default 256
	Queue       int           // commands that may wait, default 4
	Prompt      bool          // RESEND and IDENT are done between the takes of a running command

	Seed      uint64         // of everything random
	ToHost    Wire           // what happens to the lines that the jig sends
	ToJig     Wire           // what happens to the lines that the host sends
	Garbage   int            // random bytes sent ahead of everything else whenever a port is served
	Busy      float64        // chance that a command is refused with E 6
	AtReading map[int]Mishap // by reading, 1 = the first one made, counted over restarts
	AtCommand map[int]Slip   // by command line that arrives whole, 1 = the first
}

// Mishap is what goes wrong around one reading.
type Mishap struct {
	Lose    bool          // the line is not sent
	Double  bool          // the line is sent twice
	Cut     bool          // half of the line is sent, then the jig restarts
	Restart bool          // new boot, seq from 1, memory and commands lost
	HangUp  bool          // the port is lost: Serve returns ErrHungUp
	Forget  bool          // the memory for RESEND is lost, this reading with it
	Jam     bool          // the running command ends with E 4
	Silence time.Duration // deaf and mute from here on
}

// Slip is what goes wrong with one command.
type Slip struct {
	Deaf  bool          // the jig does not hear it
	Busy  bool          // E 6; IDENT and STOP are never refused
	Mute  bool          // it is done, and its answer is not sent
	Stale bool          // the answer to an earlier command is sent first
	Delay time.Duration // how much longer the command takes
}

// Shot names one excitation: the nth pluck, drive or quiet window of a string
// since the jig was made.
type Shot struct {
	String int
	Mode   string // "P", "D" or "Q"
	Nth    int    // 1 = the first
}

// Entry is one reading as the jig made it.
type Entry struct {
	Jig      string
	Boot     string // eight hex digits
	Seq      uint32
	MS       uint32 // since power-up
	Command  uint64 // id of the command that asked for it
	String   int    // 0 for a field reading
	Position int    // 0 for a level reading
	Take     int    // 1 = the first of its command
	Mode     string // "P", "D" or "Q"; "" for a field reading
	RMS      int    // uV
	Peak     int    // uV
	Freq     int    // mHz
	Window   int    // ms
	Flags    int
	Field    int // uT, signed
}

// Jig is a jig. Make one with New.
type Jig struct {
	cfg Config

	mu     sync.Mutex
	noise  *rand.Rand
	log    []Entry
	shots  map[Shot]int // how many so far, by a Shot without Nth
	heard  int          // whole command lines
	served bool

	// From here on all is lost at power-up.
	on       bool
	boots    uint32
	boot     string
	seq      uint32 // last one used
	origin   time.Time
	wake     time.Time // when a restart is over; zero when it is
	statusAt time.Time
	memory   []Entry
	queue    []*command        // the first one runs
	answers  map[uint64]string // by id of a finished command
	last     string            // the last answer

	// The port.
	now    time.Time
	out    []byte
	dark   bool // no port
	hungUp bool
	silent time.Time // deaf and mute until then
}

// New returns a jig that is switched on when it is first served.
func New(cfg Config) *Jig {
	fill(&cfg.Name, "test-jig")
	fill(&cfg.Firmware, "jigtest")
	fill(&cfg.Strings, 6)
	fill(&cfg.FullScale, 2_000_000)
	fill(&cfg.Excite, "travel")
	fill(&cfg.Boot, 0xA1B2C3D4)
	fill(&cfg.FirstSeq, 1)
	fill(&cfg.TakeTime, 2*time.Millisecond)
	fill(&cfg.StatusEvery, 50*time.Millisecond)
	fill(&cfg.BootTime, 10*time.Millisecond)
	fill(&cfg.Keep, 256)
	fill(&cfg.Queue, 4)
	if cfg.Level == nil {
		cfg.Level = Level
	}
	if cfg.Field == nil {
		cfg.Field = Field
	}
	return &Jig{cfg: cfg, noise: random(cfg.Seed, 1), shots: map[Shot]int{}}
}

// fill sets what was left at its zero value.
func fill[T comparable](field *T, value T) {
	var zero T
	if *field == zero {
		*field = value
	}
}

// random returns a source of its own for each user, so that the bytes of one
// direction do not change what happens in the other.
func random(seed, user uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, user)) }

// Log returns every reading made so far, in order, over all power-ups.
func (j *Jig) Log() []Entry {
	j.mu.Lock()
	defer j.mu.Unlock()
	return append([]Entry(nil), j.log...)
}

// Level is the RMS level in uV of a shot where the Config says nothing else:
// 90 mV and less from string to string, with a scatter of 2 %; quiet, some
// 0.2 mV.
func Level(s Shot) int {
	scatter := 1 + 0.02*math.Sin(float64(7*s.Nth+s.String))
	if s.Mode == "Q" {
		return int(scatter * float64(200+10*s.String))
	}
	return int(scatter * (94_000 - 4_000*float64(s.String)))
}

// Field is the flux density in uT of the nth reading at a position where the
// Config says nothing else: some 50 mT, south pole up at even positions.
func Field(position, nth int) int {
	uT := 50_000 + 300*position + 10*(nth%5)
	if position%2 == 0 {
		return -uT
	}
	return uT
}
