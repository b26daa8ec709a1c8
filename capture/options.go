package capture

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"evenpole/capture/record"
	"evenpole/jig"
	"evenpole/profiles"
)

// Conn is the conversation with a jig, as a capture needs it; *jig.Conn is one.
type Conn interface {
	Ident() jig.Ident
	Last() uint32
	Reattach(ctx context.Context) error
	Recover(ctx context.Context, from, to uint32, s jig.Sink) (lost []uint32, err error)
	Do(ctx context.Context, cmd jig.Command, s jig.Sink) (jig.Outcome, error)
}

// Defaults of Options.
const (
	DefaultTakes      = record.UsualTakes // good takes a string
	DefaultFieldTakes = 3                 // field readings a position
	DefaultQuiet      = 3                 // quiet windows a string
)

// Nobody is the operator who is not to be told.
const Nobody = "-"

// Options says what to capture. Zero values mean the defaults.
type Options struct {
	Mount   *profiles.Mount
	Purpose record.Purpose

	Takes int // good takes a string or field readings a position: DefaultTakes, DefaultFieldTakes
	// Until ends the takes of a string once the standard error of its mean level is no more
	// than so many dB, after three takes at least and Takes, 40 unless told, at most. 0 makes
	// Takes of each.
	Until float64

	Quiet     int // good quiet windows a string: DefaultQuiet
	MaxPlucks int // the most takes of one kind to make of a string before giving up: three times those wanted, and 5

	// FieldPositions makes it a capture of field readings at these positions of
	// the probe. Under a pickup a position is a string's pole.
	FieldPositions []int

	// Again starts a new session, though there is one of the same purpose and
	// mount: every repetition of a repeat study does. To resume a session that
	// was started so, leave Again out.
	Again bool

	// AsMounted takes the strings for those of the mount, however they sound.
	// Otherwise OffPitch is asked at the first take of a string that does not sound at
	// its note, before that take is kept, and once in a capture: true goes on as with
	// AsMounted, false ends the capture with the error. nil is false.
	AsMounted bool
	OffPitch  func(*PitchError) bool

	// Operator is who captures; "" is who did last in this shop, and [Nobody] is not told.
	Operator string

	// Stop, once it is closed, ends the capture with ErrStopped as soon as the
	// take under way is kept. To end it at once, cancel the context of Run.
	Stop <-chan struct{}

	Now      func() time.Time // time.Now; of a simulated jig on a day of its own, now on that day
	Started  func(*Result)    // hears how far the session has got, before the jig is asked for anything; may be nil
	Progress func(Progress)   // hears of every row once it is kept
}

// Progress is a row that was kept, and how far its string has got.
type Progress struct {
	Session string // "" when the row was filed without one
	Mode    record.Mode
	Number  int // the string; for a field reading the position
	Good    int // good takes so far; 0 without a session
	Wanted  int // 0 without a session

	StandardError float64 // as in a Tally
	Level         float64 // mV; of a field reading mT
	Magnet        string  // of a field reading: at its position; "" for none
	Status        record.Status
	Note          string
	Refused       string          // why the take does not count, in words; "" when it does, or has no session
	Reading       *record.Reading // the row itself; nil for a field reading
}

// SetupError says that what was asked for does not fit the mount or the jig.
// Nothing was done.
type SetupError struct {
	File string // of the mount; "" when it is not to blame
	Msg  string
}

// Error returns "file: message".
func (e *SetupError) Error() string {
	if e.File == "" {
		return e.Msg
	}
	return e.File + ": " + e.Msg
}

func (o *Options) reject(format string, args ...any) error {
	return &SetupError{o.Mount.File, fmt.Sprintf(format, args...)}
}

func (o Options) withDefaults() Options {
	if o.Takes == 0 {
		o.Takes = DefaultTakes
		if o.Until > 0 {
			o.Takes = mostTakes
		}
		if o.Kind() == record.OfFields {
			o.Takes = DefaultFieldTakes
		}
	}
	if o.Quiet == 0 {
		o.Quiet = DefaultQuiet
	}
	if o.Progress == nil {
		o.Progress = func(Progress) {}
	}
	return o
}

// Kind is what is captured: record.OfReadings or record.OfFields.
func (o *Options) Kind() string {
	if len(o.FieldPositions) > 0 {
		return record.OfFields
	}
	return record.OfReadings
}

// maxCount is the most takes that one command asks for: well below the 256
// readings that a jig keeps, so that a gap can still be asked for afterwards.
const maxCount = 64

// A step is one slot to fill, and how the jig is asked to.
type step struct {
	record.TakeGroup
	wanted  int
	command func(count int) jig.Command
}

// Check refuses, as a [*SetupError], what can be captured with no jig; the mount is not
// looked at.
func (o Options) Check() error {
	o = o.withDefaults()
	if !slices.Contains(record.Purposes(), o.Purpose) {
		return &SetupError{"", fmt.Sprintf("purpose: expected one of %v, got %q", record.Purposes(), o.Purpose)}
	}
	if !profiles.IsName(o.Operator) {
		return &SetupError{"", fmt.Sprintf("operator: expected a name on one line, got %q", o.Operator)}
	}
	if n := min(o.Takes, o.Quiet, o.MaxPlucks); n < 0 {
		return &SetupError{"", fmt.Sprintf("takes: expected a number from 1, got %d", n)}
	}
	return o.checkUntil()
}

// steps returns what is to be done with this jig, in order.
func (o *Options) steps(id jig.Ident) ([]step, error) {
	if err := o.Check(); err != nil {
		return nil, err
	}
	if o.Kind() == record.OfFields {
		return o.fieldSteps()
	}
	return o.stringSteps(id)
}

func (o *Options) checkUntil() error {
	switch {
	case !(o.Until >= 0 && o.Until <= 10):
		return &SetupError{"", fmt.Sprintf("until: expected a standard error of more than 0 up to 10 dB, got %g", o.Until)}
	case o.Until > 0 && o.Kind() == record.OfFields:
		return &SetupError{"", "until: expected takes of strings, whose level has a standard error, got field readings"}
	case o.Until > 0 && o.Takes < leastTakes:
		return &SetupError{"", fmt.Sprintf("takes: expected %d or more, as the standard error of fewer is not known, got %d", leastTakes, o.Takes)}
	}
	return nil
}

func (o *Options) stringSteps(id jig.Ident) ([]step, error) {
	n := len(o.Mount.Strings)
	switch {
	case o.Mount.Loose():
		return nil, o.reject("expected a pickup under strings, got loose magnets: these have field readings only")
	case n > id.Strings:
		return nil, o.reject("expected at most the %d strings of jig %q, got %d", id.Strings, id.Jig, n)
	}
	var all []step
	for s := 1; s <= n; s++ {
		excite, err := o.excite(s, id.Excite)
		if err != nil {
			return nil, err
		}
		all = append(all, step{record.TakeGroup{Mode: record.Quiet, Number: s}, o.Quiet,
			func(count int) jig.Command { return jig.QuietCommand(s, count) }}, excite)
	}
	return all, nil
}

// excite returns the step that sets a string moving. An exciter drives it at
// its open pitch.
func (o *Options) excite(s int, by jig.Excite) (step, error) {
	if by != jig.Drive {
		return step{record.TakeGroup{Mode: record.Pluck, Number: s}, o.Takes,
			func(count int) jig.Command { return jig.PluckCommand(s, count) }}, nil
	}
	hz, err := profiles.Pitch(o.Mount.Strings[s-1].Note)
	if err != nil {
		return step{}, o.reject("string %d: its note, for the jig drives strings at their pitch: %v", s, err)
	}
	mHz := int64(math.Round(1000 * hz))
	return step{record.TakeGroup{Mode: record.Drive, Number: s}, o.Takes,
		func(count int) jig.Command { return jig.DriveCommand(s, mHz, count) }}, nil
}

func (o *Options) fieldSteps() ([]step, error) {
	m := o.Mount
	high, what := len(m.Strings), "strings"
	if m.Loose() {
		high, what = len(m.Magnets), "magnets"
	}
	if m.ProbeGap <= 0 {
		return nil, o.reject("probe_gap_mm: expected for field readings, got none")
	}
	var all []step
	for i, p := range o.FieldPositions {
		switch {
		case p < 1 || p > high:
			return nil, o.reject("position: expected 1 to %d, as there are %d %s, got %d", high, high, what, p)
		case slices.Contains(o.FieldPositions[:i], p):
			return nil, o.reject("position: expected each once, got %d twice", p)
		}
		all = append(all, step{record.TakeGroup{Mode: record.Probe, Number: p}, o.Takes,
			func(count int) jig.Command { return jig.FieldCommand(p, count) }})
	}
	return all, nil
}
