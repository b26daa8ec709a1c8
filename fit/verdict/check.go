package verdict

import (
	"fmt"
	"math"

	"evenpole/fit/level"
	"evenpole/profiles"
)

// check is one pickup being checked: what was measured, and the verdict so far.
type check struct {
	v               *Verdict
	order           *profiles.Order
	session         *session
	opt             Options
	mountingAssumed bool         // the allowance for mounting is the default
	shift           []float64    // dB, added to each level for another excitation; nil for none
	x               *expectation // nil when the pickup was not compared
	budget          *budget      // nil when there are no balances
	turned          int          // the one string whose pole has the other side up than all others; 0 for none
	withheld        bool         // the session cannot show whether the pickup conforms
}

func newCheck(o *profiles.Order, s *session, opt Options) *check {
	v := &Verdict{
		Order: o.ID, Session: s.row.Session, Time: s.row.Time, Jig: s.row.Jig, First: s.first, Batch: s.row.Batch, Excite: s.excite(),
		Strings: make([]String, len(o.Strings)), Spread: level.Figure(math.NaN()), Tolerance: o.Tolerance, Coverage: opt.Coverage,
		Warnings: []string{}, Notes: []string{}, MoreTakes: []More{},
	}
	unknown, target := level.Figure(math.NaN()), o.Target()
	for i := range v.Strings {
		t := s.takes(i)
		v.Strings[i] = String{
			Number: i + 1, Note: o.Strings[i].Note,
			Gauge: level.Figure(t.row.Gauge), Core: level.Figure(t.row.Core), Wrap: t.row.Wrap,
			PoleHeight: level.Figure(t.row.PoleHeight), StringHeight: level.Figure(t.row.StringHeight),
			Level: unknown, Balance: unknown, Deviation: unknown, Std: unknown, Expanded: unknown, Guard: unknown, K: unknown, DOF: unknown,
			Takes: len(t.levels), Flagged: t.flagged, Verdict: CannotTell, Target: target[i],
		}
		if t.row.TwoCoils() {
			second := level.Figure(t.row.PoleHeight2)
			v.Strings[i].PoleHeight2 = &second
		}
	}
	return &check{v: v, order: o, session: s, opt: opt}
}

// validate refuses an order or options that the arithmetic cannot take. The reader of
// orders has refused most of these before, with a line number.
func validate(o *profiles.Order, opt Options) error {
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
		return opt.Resistance.validFor(o.Resistance)
	}
	return nil
}

func (c *check) warn(format string, args ...any) {
	c.v.Warnings = append(c.v.Warnings, profiles.Sprintf(format, args...))
}

func (c *check) note(format string, args ...any) {
	c.v.Notes = append(c.v.Notes, profiles.Sprintf(format, args...))
}

// withhold warns of why the session cannot show whether the pickup conforms.
func (c *check) withhold(format string, args ...any) {
	c.withheld = true
	c.warn(format, args...)
}

// name is how messages call string i, counted from 0.
func (c *check) name(i int) string {
	if note := c.order.Strings[i].Note; note != "" {
		return fmt.Sprintf("string %d (%s)", i+1, note)
	}
	return fmt.Sprintf("string %d", i+1)
}
