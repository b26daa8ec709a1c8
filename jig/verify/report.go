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
