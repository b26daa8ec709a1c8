package capture

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"evenpole/capture/record"
)

// Result is what came of a capture.
type Result struct {
	Session  string
	Operator string // who captures; "" is not told
	Resumed  bool   // the session had been started before
	Already  bool   // it was complete: nothing was added
	Complete bool

	Kept      int // rows added to the record, all of them on the disk
	Recovered int // of these, rows that the jig still had from before, for this session
	Stray     int // of these, rows that are not this session's: they have a note and no cell
	Lost      int // readings that the jig made and could not be had
	Restarts  int // of the jig

	Tallies []Tally // in the order of the capture
}

// Tally says how far a string, or a position, has got.
type Tally struct {
	Mode   record.Mode `json:"mode"`
	Number int         `json:"number"`
	Good   int         `json:"good"`   // earlier captures of the session included
	Wanted int         `json:"wanted"` // until a standard error: by what is known so far
	Made   int         `json:"made"`   // takes made in this capture
	// StandardError is how surely the mean of the takes is known, dB, in a capture until a
	// standard error; 0 when that is not known yet, or not asked.
	StandardError float64 `json:"standard_error_db,omitempty"`
	Magnet        string  `json:"magnet,omitempty"`   // at a position of the probe, as the mount says; "" for none
	Field         float64 `json:"field_mt,omitempty"` // mean of the good field readings there, signed; 0 before the first

	Refused map[string]int `json:"-"` // takes that did not count, by reason, in this capture
}

// Missing returns the tallies that are short of what is wanted.
func (r *Result) Missing() []Tally {
	var short []Tally
	for _, t := range r.Tallies {
		if t.Good < t.Wanted {
			short = append(short, t)
		}
	}
	return short
}

// Uncertain are the strings whose mean is known less surely than to a standard error in dB.
func (r *Result) Uncertain(until float64) (strings []int) {
	for _, t := range r.Tallies {
		if until > 0 && t.StandardError > until {
			strings = append(strings, t.Number)
		}
	}
	return strings
}

// Left is how many good takes are missing.
func (r *Result) Left() (n int) {
	for _, t := range r.Missing() {
		n += t.Wanted - t.Good
	}
	return n
}

// String says "string 3: 4 of 10 good takes".
func (t Tally) String() string {
	return fmt.Sprintf("%v: %d of %d good takes", record.TakeGroup{Mode: t.Mode, Number: t.Number}, min(t.Good, t.Wanted), t.Wanted)
}

// reasons lists why takes did not count, the gravest first.
func (t *Tally) reasons() string {
	var all []string
	for _, why := range refusals {
		if n := t.Refused[why]; n > 0 {
			all = append(all, fmt.Sprintf("%d %s", n, why))
		}
	}
	if len(all) == 0 {
		return ""
	}
	return ": " + strings.Join(all, ", ")
}

// Why a take does not count, besides its status.
const (
	notAbove = "not above the quiet level"
	wasLost  = "lost"
	broke    = "stopped by a mechanical fault"
	restart  = "cut short by a restart of the jig"
)

var refusals = []string{string(record.Faulty), string(record.Clipped), string(record.DoubleStrike), string(record.ShortWindow), notAbove, wasLost, broke, restart}

// ErrStopped says that a capture ended because [Options].Stop asked it to.
var ErrStopped = errors.New("stopped")

// PitchError says that a string does not sound at the note that the mount gives it: other
// strings are on the jig, or it is not tuned. The take is not kept.
type PitchError struct {
	Mount  string // its file
	String int
	How    string // see profiles.WrongPitch
}

func (e *PitchError) Error() string {
	return fmt.Sprintf("%s: string %d is not what is on the jig: it sounds %s", e.Mount, e.String, e.How)
}

// StoppedError says that a capture did not end as it should. What was kept
// stays, and the same capture resumes.
type StoppedError struct {
	Session string
	Missing []Tally // what is not complete
	Err     error   // why
}

func (e *StoppedError) Error() string {
	why := e.Err.Error()
	if errors.Is(e.Err, context.Canceled) {
		why = ErrStopped.Error()
	}
	if len(e.Missing) == 0 {
		return fmt.Sprintf("session %s: %s", e.Session, why)
	}
	const named = 4 // so many fit a line
	var missing []string
	for _, t := range e.Missing[:min(named, len(e.Missing))] {
		missing = append(missing, t.String())
	}
	if more := len(e.Missing) - named; more > 0 {
		missing = append(missing, fmt.Sprintf("and %d more", more))
	}
	return fmt.Sprintf("session %s is not complete: %s; %s", e.Session, why, strings.Join(missing, ", "))
}

// Unwrap returns why the capture ended.
func (e *StoppedError) Unwrap() error { return e.Err }
