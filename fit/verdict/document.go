package verdict

import (
	"fmt"
	"slices"
	"time"

	"evenpole/fit/level"
	"evenpole/profiles"
)

// What a check says: the types of its JSON document.

// Answer is the answer, for a string or for the pickup.
type Answer string

// The answers.
const (
	Conforms       Answer = "conforms"
	OutOfTolerance Answer = "out of tolerance"
	CannotTell     Answer = "cannot tell yet"
)

// String is what was measured of one string and what is decided of it. Lengths
// and diameters are those of the record: what was on the jig.
type String struct {
	Number       int           `json:"string"` // 1 is the highest-pitched
	Note         string        `json:"note"`
	Gauge        level.Figure  `json:"gauge_mm"`
	Core         level.Figure  `json:"core_mm"`
	Wrap         profiles.Wrap `json:"wrap"`
	PoleHeight   level.Figure  `json:"pole_height_mm"`             // as built
	PoleHeight2  *level.Figure `json:"pole_height_2_mm,omitempty"` // as built, in the second coil; nil with one coil
	StringHeight level.Figure  `json:"string_height_mm"`           // on the jig
	Level        level.Figure  `json:"level_mv"`                   // geometric mean of v over the good takes, as the jig plucks
	Balance      level.Figure  `json:"balance_db"`                 // for the excitation that the verdict is for
	Target       float64       `json:"target_db"`
	Deviation    level.Figure  `json:"deviation_db"`  // balance less target
	Std          level.Figure  `json:"u_db"`          // standard uncertainty of the balance
	Expanded     level.Figure  `json:"expanded_u_db"` // expanded: k times u
	K            level.Figure  `json:"k"`             // coverage factor
	DOF          level.Figure  `json:"dof"`           // effective degrees of freedom; infinite when only the allowances count
	Guard        level.Figure  `json:"guard_db"`      // guard band of the decision: u times the coverage factor for all looks
	Takes        int           `json:"takes"`         // good ones
	Flagged      int           `json:"flagged"`       // takes that do not count
	Verdict      Answer        `json:"verdict"`
	Remedy       string        `json:"remedy"`
}

// TwoCoils reports whether the pickup that was measured has two coils.
func (v *Verdict) TwoCoils() bool {
	return slices.ContainsFunc(v.Strings, func(s String) bool { return s.PoleHeight2 != nil })
}

// More says how many more takes of a string are wanted.
type More struct {
	String int `json:"string"`
	Takes  int `json:"takes"` // more than there are
}

// Verdict is what a check says of one pickup. It marshals to the JSON document of
// "evenpole check --json".
type Verdict struct {
	Pickup        string              `json:"pickup"`
	Order         string              `json:"order"`
	Session       string              `json:"session"` // the latest with purpose check
	Time          time.Time           `json:"time"`    // of that session's last reading
	Jig           string              `json:"jig"`
	First         string              `json:"first_reading"` // of that session: jig/boot/seq; "" when the record does not number its readings
	Batch         string              `json:"batch"`
	Excite        profiles.Excitation `json:"excite"` // what the balances are for; "" when the record does not say
	Verdict       Answer              `json:"verdict"`
	Strings       []String            `json:"strings"`
	Spread        level.Figure        `json:"spread_db"` // highest less lowest balance
	Tolerance     float64             `json:"tolerance_db"`
	Coverage      float64             `json:"coverage"`       // of U
	Looks         int                 `json:"looks"`          // that the record allowed at the pickup as it is, this one counted
	GuardCoverage float64             `json:"guard_coverage"` // of the guard bands, for so many looks
	Remedy        string              `json:"remedy"`         // for the pickup as a whole
	Warnings      []string            `json:"warnings"`
	Notes         []string            `json:"notes"` // how the figures were made
	MoreTakes     []More              `json:"more_takes"`
	Diagnosis     *Diagnosis          `json:"diagnosis"`  // nil when the pickup was not compared
	Resistance    *Resistance         `json:"resistance"` // nil when it was not measured

	// What the shop knows of its papers, jig and model: the caller's to set.
	Certificate int    `json:"certificate"` // number; 0 when none was issued
	Supersedes  int    `json:"supersedes"`  // number of the certificate whose place it takes; 0 for none
	Calibration string `json:"calibration"` // "" when the jig's gain was not measured
	Model       string `json:"model"`       // "" when the pickup was not compared
}

// OrderError says what in an order cannot be, or cannot be of this pickup.
type OrderError struct {
	File string
	Err  error
}

// Error names the file first.
func (e *OrderError) Error() string { return fmt.Sprintf("%s: %v", e.File, e.Err) }

// Unwrap returns what is wrong.
func (e *OrderError) Unwrap() error { return e.Err }

// Diagnosis is how a pickup compares with what the model expects of it.
type Diagnosis struct {
	Source  string     `json:"source"` // of the model: "shop data" or "handbook prior"
	Strings []Expected `json:"strings"`
	Causes  []Cause    `json:"causes"` // the likeliest first, then those about as likely; none when nothing stands out
	Tell    string     `json:"tell"`   // which measurement tells the causes apart, or confirms the only one; "" without causes
}

// Expected is what the model expects of a string.
type Expected struct {
	String   int          `json:"string"`
	Balance  level.Figure `json:"expected_db"`
	Expanded level.Figure `json:"off_expanded_u_db"` // of the difference to the measured balance
	Off      level.Figure `json:"off_db"`            // measured less expected
	Field    level.Figure `json:"field_mt"`          // over its pole, as the latest session with the field probe has it
}

// Cause is what may be wrong with a pickup.
type Cause struct {
	Kind     string       `json:"kind"`     // one of the kinds in cause.go
	Strings  []int        `json:"strings"`  // concerned; empty: all
	Off      level.Figure `json:"off_db"`   // of the string concerned that is furthest from what is expected, relative to the other strings
	Left     level.Figure `json:"left_db"`  // what remains of Off if this is the cause
	Size     level.Figure `json:"size"`     // mm of a gap or, end to end, of a tilt; the share that a magnet is weaker by; unknown of others
	Evidence level.Figure `json:"evidence"` // ln of the likelihood ratio to no cause, less its penalty; infinite, null in JSON, for what is seen and not weighed
	Text     string       `json:"text"`     // one sentence
}
