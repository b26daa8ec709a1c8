// Package verdict decides whether a finished pickup's measured balance is
// within its order's tolerance, allowing for the measurement's uncertainty.
//
// A string's level is the mean of ln v over its good takes, in dB; its balance
// is that level less the mean level of all strings. The uncertainty of a
// balance is combined as JCGM 100:2008 (Evaluation of measurement data: guide to
// the expression of uncertainty in measurement) has it: from the scatter of the
// takes and from an allowance for setting the string heights, with a coverage
// factor from Student's t at the effective degrees of freedom (annex G).
//
// The expanded uncertainty U is the guard band of the decision (the idea of
// ISO 14253-1 and of JCGM 106:2012): a string conforms when its deviation and U
// together are within the tolerance, is out when its deviation is beyond it by
// more than U, and cannot be told otherwise. So a string that is truly just
// beyond the tolerance is passed at most once in 40 times, and one that is
// truly just within it is failed at most once in 40, at the usual coverage of
// 95 %. These are chances for one string: of six that all lie on the very limit
// one is failed more often.
//
// With a model at hand the pickup is also compared with what the model expects of
// it, and the likeliest cause of what is off is named: see [Diagnosis]. Levels, and
// the fields over the poles where they were measured, are jointly normal as the
// model's covariance has it, give or take Student's tails; each cause is tried
// against that with a penalty for how many like it there are.
package verdict

import (
	"encoding/json"
	"fmt"
	"iter"
	"math"
	"time"

	"evenpole/capture/record"
	"evenpole/profiles"
)

// Decision is the answer, for a string or for the pickup.
type Decision string

// The answers.
const (
	Conforms       Decision = "conforms"
	OutOfTolerance Decision = "out of tolerance"
	CannotTell     Decision = "cannot tell yet"
)

// Options are what a shop may set. The zero value is the usual.
type Options struct {
	// Mounting is the standard uncertainty, dB, that setting the string heights
	// and mounting the pickup gives each string's level; 0 means 0.15. The
	// default is our assumption, not a measurement: 0.05 mm of setting error at
	// 3 dB per mm. A repeat study measures it (package repeat).
	Mounting float64
	// Channel is the standard uncertainty, dB, that correcting a jig's channels
	// leaves in each string's level at a time; nil when none are corrected.
	Channel func(jig string, at time.Time) float64
	// Conversion is the standard uncertainty, dB, that each string's level gets
	// in addition when it is converted to another excitation; 0 means 0.2. The
	// default is our assumption: a string's mass is known to some 2 % from its
	// diameters.
	Conversion float64
	// Coverage is that of U: the chance that the true deviation lies within
	// it; 0 means 0.95.
	Coverage float64
	// Bench compares the pickup with what a model expects of it; nil when it is
	// not compared.
	Bench *Bench
	// Slope is by how much each string's level rises for each mm that its pole
	// rises, dB per mm, string 1 first. With it a remedy says how far; nil means
	// the Bench's, if there is one.
	Slope []float64
	// Resistance is what a meter said of the coil; nil when it was not measured.
	Resistance *Measured
}

// The defaults of Options.
const (
	mountingSD   = 0.15 // dB
	conversionSD = 0.2  // dB
	coverage     = 0.95
)

func (o Options) withDefaults() Options {
	for _, f := range []struct {
		value *float64
		usual float64
	}{{&o.Mounting, mountingSD}, {&o.Conversion, conversionSD}, {&o.Coverage, coverage}} {
		if *f.value == 0 {
			*f.value = f.usual
		}
	}
	return o
}

// Figure is a number that may not be known. NaN and infinities become null in
// JSON.
type Figure float64

// Known reports whether the figure is a finite number.
func (f Figure) Known() bool { return !math.IsNaN(float64(f)) && !math.IsInf(float64(f), 0) }

// MarshalJSON writes the number, or null.
func (f Figure) MarshalJSON() ([]byte, error) {
	if !f.Known() {
		return []byte("null"), nil
	}
	return json.Marshal(float64(f))
}

// UnmarshalJSON reads the number; null is NaN.
func (f *Figure) UnmarshalJSON(text []byte) error {
	if string(text) == "null" {
		*f = Figure(math.NaN())
		return nil
	}
	return json.Unmarshal(text, (*float64)(f))
}

// String is what was measured of one string and what is decided of it. Lengths
// and diameters are those of the record: what was on the jig.
type String struct {
	Number       int           `json:"string"` // 1 is the highest-pitched
	Note         string        `json:"note"`
	Gauge        Figure        `json:"gauge_mm"`
	Core         Figure        `json:"core_mm"`
	Wrap         profiles.Wrap `json:"wrap"`
	PoleHeight   Figure        `json:"pole_height_mm"`   // as built
	StringHeight Figure        `json:"string_height_mm"` // on the jig
	Level        Figure        `json:"level_mv"`         // geometric mean of v over the good takes, as the jig plucks
	Balance      Figure        `json:"balance_db"`       // for the excitation that the verdict is for
	Target       float64       `json:"target_db"`
	Deviation    Figure        `json:"deviation_db"`  // balance less target
	Std          Figure        `json:"u_db"`          // standard uncertainty of the balance
	Expanded     Figure        `json:"expanded_u_db"` // expanded: k times u
	K            Figure        `json:"k"`             // coverage factor
	DOF          Figure        `json:"dof"`           // effective degrees of freedom; infinite when only the allowances count
	Takes        int           `json:"takes"`         // good ones
	Flagged      int           `json:"flagged"`       // takes that do not count
	Verdict      Decision      `json:"verdict"`
	Remedy       string        `json:"remedy"`
}

// More asks for more takes of a string.
type More struct {
	String int `json:"string"`
	Takes  int `json:"takes"` // more than there are
}

// Verdict is the answer for one pickup. It marshals to the JSON document of
// "evenpole check --json".
type Verdict struct {
	Pickup     string              `json:"pickup"`
	Order      string              `json:"order"`
	Session    string              `json:"session"` // the latest with purpose check
	Time       time.Time           `json:"time"`    // of that session's last reading
	Jig        string              `json:"jig"`
	First      string              `json:"first_reading"` // of that session: jig/boot/seq; "" when the record does not number its readings
	Batch      string              `json:"batch"`
	Excite     profiles.Excitation `json:"excite"` // what the balances are for; "" when the record does not say
	Verdict    Decision            `json:"verdict"`
	Strings    []String            `json:"strings"`
	Spread     Figure              `json:"spread_db"` // highest less lowest balance
	Tolerance  float64             `json:"tolerance_db"`
	Coverage   float64             `json:"coverage"` // of U
	Remedy     string              `json:"remedy"`   // for the pickup as a whole
	Warnings   []string            `json:"warnings"`
	Notes      []string            `json:"notes"` // how the figures were made
	MoreTakes  []More              `json:"more_takes"`
	Diagnosis  *Diagnosis          `json:"diagnosis"`  // nil when the pickup was not compared
	Resistance *Resistance         `json:"resistance"` // nil when it was not measured

	// What the shop knows of its jig and model: the caller's to set.
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

// Check judges a pickup by the latest session that the record has of it with
// purpose check. Takes count as their status says, each reading once, none that
// was taken back, and none that is not above its quiet level.
//
// A pickup without such a session is a [*NotChecked]; what in the order cannot be
// an [*OrderError]; an error of rows is returned as it is.
//
// Where the session is not one that can speak for the order (other strings,
// a string without takes, an excitation that cannot be converted) the figures
// are there, a warning says why, and the verdict is that it cannot be told.
func Check(rows iter.Seq2[record.Reading, error], o *profiles.Order, pickup string, opt Options) (*Verdict, error) {
	assumed := opt.Mounting == 0
	opt = opt.withDefaults()
	if err := judgeable(o, opt); err != nil {
		return nil, &OrderError{o.File, err}
	}
	s, err := latest(rows, pickup)
	if err != nil {
		return nil, err
	}
	if last := s.last(); last > len(o.Strings) {
		return nil, &OrderError{o.File, fmt.Errorf("expected the %d strings of pickup %q in session %q, got %d", last, pickup, s.row.Session, len(o.Strings))}
	}
	c := newCheck(o, s, opt)
	c.v.Pickup = pickup
	c.assumed = assumed
	c.compareMount()
	c.convert()
	c.measure()
	c.decide()
	c.ask()
	if err := c.expect(); err != nil {
		return nil, err
	}
	c.remedies()
	if opt.Resistance != nil {
		c.resist(*opt.Resistance)
	}
	return c.v, nil
}

// judgeable refuses what the arithmetic cannot bear; the order's reader has said
// most of it before, with a line number.
func judgeable(o *profiles.Order, opt Options) error {
	n := len(o.Strings)
	switch {
	case n == 0:
		return fmt.Errorf("expected at least one string, got none")
	case len(o.Offset) != 0 && len(o.Offset) != n:
		return fmt.Errorf("offset_db: expected %d values, one a string, got %d", n, len(o.Offset))
	case !(o.Tolerance > 0):
		return fmt.Errorf("tolerance_db: expected more than 0, got %g", o.Tolerance)
	case !(opt.Mounting > 0) || !(opt.Conversion > 0):
		return fmt.Errorf("allowances: expected more than 0 dB, got %g and %g", opt.Mounting, opt.Conversion)
	case !(opt.Coverage > 0) || !(opt.Coverage < 1):
		return fmt.Errorf("coverage: expected between 0 and 1, got %g", opt.Coverage)
	case opt.Slope != nil && len(opt.Slope) != n:
		return fmt.Errorf("slopes: expected %d values, one a string, got %d", n, len(opt.Slope))
	case opt.Resistance != nil:
		return opt.Resistance.Valid()
	}
	return nil
}

// check is one pickup being judged.
type check struct {
	v       *Verdict
	order   *profiles.Order
	session *session
	opt     Options
	assumed bool         // the allowance for mounting is the default
	shift   []float64    // dB, added to each level for another excitation; nil for none
	x       *expectation // nil when the pickup was not compared
	budget  *budget      // nil when there are no balances
	held    bool         // the session cannot speak for the order
}

func newCheck(o *profiles.Order, s *session, opt Options) *check {
	v := &Verdict{
		Order: o.ID, Session: s.row.Session, Time: s.row.Time, Jig: s.row.Jig, First: s.first, Batch: s.row.Batch, Excite: s.excite(),
		Strings: make([]String, len(o.Strings)), Spread: Figure(math.NaN()), Tolerance: o.Tolerance, Coverage: opt.Coverage,
		Warnings: []string{}, Notes: []string{}, MoreTakes: []More{},
	}
	unknown := Figure(math.NaN())
	for i := range v.Strings {
		t := s.takes(i)
		v.Strings[i] = String{
			Number: i + 1, Note: o.Strings[i].Note,
			Gauge: Figure(t.row.Gauge), Core: Figure(t.row.Core), Wrap: t.row.Wrap,
			PoleHeight: Figure(t.row.PoleHeight), StringHeight: Figure(t.row.StringHeight),
			Level: unknown, Balance: unknown, Deviation: unknown, Std: unknown, Expanded: unknown, K: unknown, DOF: unknown,
			Takes: len(t.levels), Flagged: t.flagged, Verdict: CannotTell,
		}
		if len(o.Offset) > 0 {
			v.Strings[i].Target = o.Offset[i]
		}
	}
	return &check{v: v, order: o, session: s, opt: opt}
}

func (c *check) warn(format string, args ...any) {
	c.v.Warnings = append(c.v.Warnings, fmt.Sprintf(format, args...))
}

func (c *check) note(format string, args ...any) {
	c.v.Notes = append(c.v.Notes, fmt.Sprintf(format, args...))
}

// hold warns of what keeps the session from speaking for the order.
func (c *check) hold(format string, args ...any) {
	c.held = true
	c.warn(format, args...)
}

// name is how messages call string i, counted from 0.
func (c *check) name(i int) string {
	if note := c.order.Strings[i].Note; note != "" {
		return fmt.Sprintf("string %d (%s)", i+1, note)
	}
	return fmt.Sprintf("string %d", i+1)
}
