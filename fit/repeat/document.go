package repeat

import (
	"cmp"
	"fmt"
	"time"

	"evenpole/capture/record"
	"evenpole/fit/level"
)

// Options says what of a record is studied, and what for.
type Options struct {
	Pickup     string            // "" = all that have readings of purpose repeat
	Since      time.Time         // readings before it do not count
	Operators  Operators         // may be nil
	Captured   map[string]string // by session, who captured it; what Operators say goes before
	Tolerance  float64           // dB, either side; 0 = none to compare with
	Takes      int               // of a string in a check; 0 = 10, as capture makes
	Want       float64           // wanted U of a check, as a share of the tolerance; 0 = 0.3
	Confidence float64           // of the intervals and of U; 0 = 0.95
	Step       func(step string) // hears of each step of the work once readings were read; may be nil
}

// The defaults of Options. That of Want is our choice: a pickup whose strings are
// within 70 % of the tolerance is passed.
const (
	defaultWant       = 0.3
	defaultConfidence = 0.95
)

// step tells of a step.
func (o *Options) step(format string, args ...any) {
	if o.Step != nil {
		o.Step(fmt.Sprintf(format, args...))
	}
}

func (o Options) withDefaults() Options {
	o.Takes = cmp.Or(o.Takes, record.UsualTakes)
	o.Want = cmp.Or(o.Want, defaultWant)
	o.Confidence = cmp.Or(o.Confidence, defaultConfidence)
	return o
}

// Component is the standard deviation of one source, dB, with its interval.
type Component struct {
	Source string  `json:"source"` // "operator", "sitting", "mounting", "take"
	SD     float64 `json:"sd_db"`
	Low    float64 `json:"low_db"`
	High   float64 `json:"high_db"`
	Levels int     `json:"n"` // operators, sittings, mountings; takes in all
}

// Study is what the runs say. It marshals to the document of "evenpole repeat
// --json".
type Study struct {
	Pickups    []string        `json:"pickups"`
	Runs       int             `json:"n_runs"`
	From       time.Time       `json:"from"`
	To         time.Time       `json:"to"`
	Confidence float64         `json:"confidence"`
	Balance    []Component     `json:"balance"`     // what each string has of its own; coarse first
	Level      []Component     `json:"level"`       // of the pickup's mean level
	Mounting   float64         `json:"mounting_db"` // what more takes of a string do not lower; an allowance for package verdict
	Check      Check           `json:"check"`
	Tolerance  *Tolerance      `json:"tolerance"` // null without one
	Jigs       []string        `json:"jigs"`
	Compared   []JigDifference `json:"jigs_compared"` // each two that measured a pickup; empty for one jig
	Warnings   []string        `json:"warnings"`
}

// JigDifference is by how much the second of two jigs reads higher than the first, as
// pickups tell that both measured: dB, with intervals of Study.Confidence. A limit that
// nothing tells is unknown.
type JigDifference struct {
	Jigs    [2]string          `json:"jigs"`
	Pickups []string           `json:"pickups"`
	Level   float64            `json:"level_db"`
	Low     level.Figure       `json:"level_low_db"`
	High    level.Figure       `json:"level_high_db"`
	DOF     int                `json:"dof"`
	Strings []StringDifference `json:"strings"`
}

// StringDifference is what of the difference one string has of its own.
type StringDifference struct {
	String  int          `json:"string"`
	Balance float64      `json:"balance_db"`
	Low     level.Figure `json:"balance_low_db"`
	High    level.Figure `json:"balance_high_db"`
}

// Check is what to expect of a balance that is measured in one mounting.
type Check struct {
	Takes    int          `json:"takes"`         // of each string
	SD       float64      `json:"sd_db"`         // of a string's balance
	DOF      level.Figure `json:"dof"`           // effective degrees of freedom; unknown when without limit
	Expanded float64      `json:"expanded_u_db"` // Student's t times it
	LevelSD  float64      `json:"level_sd_db"`
}

// Tolerance is the scatter of a check beside a tolerance.
type Tolerance struct {
	Limit     float64 `json:"tolerance_db"` // either side of the target
	Share     float64 `json:"share"`        // P/T of one check
	TakeShare float64 `json:"take_share"`   // the same of a single take
	Rating    string  `json:"rating"`
	Want      float64 `json:"want"`      // wanted U as a share of the tolerance
	Takes     int     `json:"takes"`     // of a string that bring U there in one mounting; 0 = none can
	Mountings int     `json:"mountings"` // that bring it there with the takes of Check each; 0 = none can
	Rows      []Row   `json:"rows"`
}

// Row is what to expect of a check with so many takes of each string.
type Row struct {
	Takes    int     `json:"takes"`
	SD       float64 `json:"sd_db"`
	Expanded float64 `json:"expanded_u_db"`
	Share    float64 `json:"share"`
}

// TooFew says what a record lacks for a study.
type TooFew struct{ Msg string }

// Error says what is missing, and what to do.
func (e *TooFew) Error() string { return e.Msg }
