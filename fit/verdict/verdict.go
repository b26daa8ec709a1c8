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
// The decision has a guard band (the idea of ISO 14253-1 and of JCGM 106:2012): a string
// conforms when its deviation and the guard band together are within the tolerance, is
// out when its deviation is beyond it by more than the guard band, and cannot be told
// otherwise. The guard band is an expanded uncertainty whose coverage goes with how often
// the pickup was looked at, as the record tells; U itself stays at one coverage. So a
// string that is truly just beyond the tolerance is passed at most once in 40 times, and
// one that is truly just within it is failed at most once in 40, at the usual coverage of
// 95 %, however often the pickup is captured until it can be told. These are chances for
// one string: of six that all lie on the very limit one is failed more often.
//
// With a model the pickup is also compared with what the model expects of it, and the
// likeliest causes of what is off are named: see [Diagnosis]. Levels, and fields over
// the poles where they were measured, have a joint distribution with the model's
// covariance and Student's tails. Each cause is a shift of it, and is weighed by its
// likelihood, with a penalty for how many causes of its kind there are.
//
// The way through the package, in the order in which data flow:
//
//   - session.go: the sessions of purpose check in a record (session), of which the
//     latest is judged.
//   - resistance.go: a coil's resistance ([Measured], [Resistance]).
//   - document.go: what a check says ([Verdict], [String], [Diagnosis], [Cause]).
//   - options.go: [Options], and [Bench], the model to compare with.
//   - budget.go: where the uncertainty of a balance comes from (budget).
//   - polarity.go: what the field probe says of the poles (probe).
//   - expectation.go: levels and fields beside what the model expects of them, with
//     their covariance (expectation).
//   - cause.go: what may be wrong, and how likely (hypothesis). A new cause goes here: a
//     kind, a method that makes its hypothesis, a line in hypotheses and one in
//     whatWouldTell. A cause that is seen, as a dead string is, goes into seen instead.
//   - check.go: one pickup being checked (check), on which the following work in turn.
//   - mount.go: what was on the jig beside the order, and the order's limits;
//     excite.go: levels for another excitation; decide.go: balances and the decision;
//     looks.go: how often the pickup was looked at, and the guard bands for it; more.go: how many more takes would tell; expect.go: the comparison with a model;
//     remedy.go: what can be done about strings that are out.
//   - verdict.go: [Check], which runs all of these in order.
package verdict

import (
	"fmt"
	"iter"
	"math"

	"evenpole/capture/record"
	"evenpole/fit/level"
	"evenpole/profiles"
)

// Check decides on a pickup by the latest session that the record has of it with
// purpose check. Takes count as their status says, each reading once, none that
// was taken back, and none that is not above its quiet level.
//
// A pickup without such a session is a [*NotChecked]; what in the order cannot be
// an [*OrderError]; an error of rows is returned as it is.
//
// When the session cannot show whether the pickup conforms (other strings, a string
// without takes, an excitation that cannot be converted), the figures are there, a
// warning says why, and the verdict is CannotTell.
func Check(rows iter.Seq2[record.Reading, error], o *profiles.Order, pickup string, opt Options) (*Verdict, error) {
	assumed := opt.Mounting == 0
	opt = opt.withDefaults()
	if err := validate(o, opt); err != nil {
		return nil, &OrderError{o.File, err}
	}
	sessions, err := sessionsOf(rows, pickup)
	if err != nil {
		return nil, err
	}
	s := sessions[len(sessions)-1]
	if last := s.last(); last > len(o.Strings) {
		return nil, &OrderError{o.File, fmt.Errorf("expected the %d strings of pickup %q in session %q, got %d", last, pickup, s.row.Session, len(o.Strings))}
	}
	c := newCheck(o, s, opt)
	c.v.Pickup = pickup
	c.mountingAssumed = assumed
	if note := o.CentringNote(); note != "" {
		c.note("%s", note)
	}
	c.judge(sessions)
	if err := c.expect(); err != nil {
		return nil, err
	}
	c.ask()
	c.remedies()
	if opt.Resistance != nil {
		c.v.StateResistance(o, *opt.Resistance)
	}
	return c.v, nil
}

// judge decides by the balances, at the look that the latest of the sessions is.
func (c *check) judge(sessions []*session) {
	c.compareMount()
	c.convert()
	c.measure()
	c.countLooks(sessions)
	c.guard()
	c.decide()
}

// StateResistance adds a coil's resistance, compared with the order's. The answer, which
// is on the balance, stays.
func (v *Verdict) StateResistance(o *profiles.Order, m Measured) {
	unknown := level.Figure(math.NaN())
	r := &Resistance{Ohm: m.Ohm, Celsius: m.Celsius, At20: m.At20(), Target: unknown, Off: unknown, Tolerance: unknown}
	v.Resistance = r
	v.Notes = append(v.Notes, fmt.Sprintf("resistance is put at 20 °C by %.3g %% a degree, as of annealed copper (IEC 60028)", 100*copperPerK))
	shorted := m.shorted(o.Resistance)
	if shorted {
		v.Warnings = append(v.Warnings, fmt.Sprintf("the coil reads %s ohm: it is shorted, from end to end or between its leads", ohms(m.Ohm)))
	}
	if o.Resistance == 0 {
		return
	}
	r.Target = level.Figure(o.Resistance)
	r.Off = level.Figure(100 * (r.At20/o.Resistance - 1))
	if o.ResistanceTolerance > 0 {
		r.Tolerance = level.Figure(o.ResistanceTolerance)
	}
	if !r.Within() && !shorted {
		v.Warnings = append(v.Warnings, profiles.Sprintf("the coil has %.0f ohm at 20 °C, %+.1f %% off the %.0f ohm ordered, and +- %g %% is allowed: fewer or more turns, another wire, or a short between turns", r.At20, float64(r.Off), o.Resistance, o.ResistanceTolerance))
	}
}
