package verify

import "evenpole/jig"

// Result is what became of a clause.
type Result string

// The results of a clause.
const (
	Pass    Result = "pass"
	Fail    Result = "fail"
	Skipped Result = "skipped" // could not be looked at, or was not asked for
)

// Finding is one clause of the protocol: what it wants beside what the jig did.
type Finding struct {
	Clause   string `json:"clause"`
	Section  string `json:"section"` // of firmware-notes
	Expected string `json:"expected"`
	Came     string `json:"came"`
	Result   Result `json:"result"`
}

// Plan is what moves in a run, at most; quiet windows move nothing.
type Plan struct {
	Plucks       int `json:"plucks"`
	DriveWindows int `json:"drive_windows"`
	FieldTakes   int `json:"field_takes"`
}

// Identity is what the jig said of itself.
type Identity struct {
	Jig         string     `json:"jig"`
	Boot        string     `json:"boot"`
	Firmware    string     `json:"firmware"`
	Strings     int        `json:"strings"`
	FullScaleMV float64    `json:"full_scale_mv"`
	Excite      jig.Excite `json:"excite"`
}

// Measured is how good the jig is, as far as a few takes of string 1 tell. What could not be
// measured is 0.
type Measured struct {
	AnswerMS       float64 `json:"answer_ms"`       // median time from IDENT to its A
	AnswerWorstMS  float64 `json:"answer_worst_ms"` // the longest
	LinesPerSecond float64 `json:"lines_per_second"`
	QuietS         float64 `json:"quiet_s"` // a quiet window, with the wait before it
	TakeS          float64 `json:"take_s"`  // a pluck or driven window likewise

	Takes       int     `json:"takes"` // good ones that what follows is made of
	LevelMV     float64 `json:"level_mv"`
	ScatterDB   float64 `json:"scatter_db"` // standard deviation from take to take
	ScatterLow  float64 `json:"scatter_low_db"`
	ScatterHigh float64 `json:"scatter_high_db"` // its 95 % interval
	QuietMV     float64 `json:"quiet_mv"`
	QuietDB     float64 `json:"quiet_db"` // what the quiet level would add to string 1 were it not taken off
	Hum         string  `json:"hum"`      // hum, noise or cannot tell

	ToleranceDB float64 `json:"tolerance_db"`
	TakesWanted int     `json:"takes_wanted"` // for U of 30 % of the tolerance, by the upper end of the scatter
}

// Report is what came of a run.
type Report struct {
	Port     string    `json:"port"`
	Jig      Identity  `json:"jig"`
	Planned  Plan      `json:"planned"`
	Asked    Plan      `json:"asked"` // what was really commanded, never more than planned
	Findings []Finding `json:"findings"`
	Failed   []string  `json:"failed"` // clauses
	Skipped  []string  `json:"skipped"`
	Measured Measured  `json:"measured"`
}

// Passed tells whether no clause failed.
func (r *Report) Passed() bool { return len(r.Failed) == 0 }

// add files a finding.
func (r *Report) add(f Finding) {
	r.Findings = append(r.Findings, f)
	switch f.Result {
	case Fail:
		r.Failed = append(r.Failed, f.Clause)
	case Skipped:
		r.Skipped = append(r.Skipped, f.Clause)
	}
}
