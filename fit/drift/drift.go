// Package drift watches what is measured again and again: a reference pickup on
// the jig every day, and the spread of the pickups that shipped.
//
// The charts are those of the NIST/SEMATECH e-Handbook of Statistical Methods,
// 6.3.2: Shewhart's, of single values with their moving range or, where every day
// has several sessions, of the days' means with their standard deviation; the
// exponentially weighted moving average; and the tabular cumulative sum. Centre
// and deviation come from a baseline, the first points, and do not follow what
// comes after.
//
// A point beyond three sigma, the moving average and the cumulative sum decide, each at
// a limit farther out than the one that is drawn, so that all three together make one
// false alarm in 370 points: a chance of 0.15 within the first 60 points of what does not
// change, of 0.49 in a year of 250. The shorter the baseline, the farther out they lie:
// 1.39 times for 20 points, whose deviation is known to some 20 %, and 1.08 times for 200.
// What passes the limits that are drawn, the run rules and the chart of the scatter are
// reasons to look and no more: one of these fires once in 37 points (see the tests).
//
// The way through the package, in the order in which data flow:
//
//   - series.go: a record to one figure of each session ([Series]).
//   - shewhart.go: constants and limits of Shewhart's charts; memory.go: the moving
//     average, the cumulative sum and the run rules.
//   - factor.go: how far out the limits that decide lie.
//   - chart.go: [Options], and what the charts say ([Chart], [Panel], [Signal]).
//   - panels.go: the panels, and the rules that fire in them.
//   - drift.go: [Draw], which runs all of these, and decides the state.
package drift

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"evenpole/profiles"

	"gonum.org/v1/gonum/stat"
)

// Draw makes the charts of a series.
func Draw(s *Series, o Options) (*Chart, error) {
	if o.Baseline != 0 && o.Baseline < leastPoints {
		return nil, &NoSeries{fmt.Sprintf("baseline: expected %d points or more, got %d", leastPoints, o.Baseline)}
	}
	c := &Chart{Subject: s.Subject, Of: s.Of, Since: o.Since, Signals: []Signal{}, Panels: []Panel{}, Warnings: append([]string{}, s.Warnings...)}
	groups := c.group(s)
	c.Baseline = min(cmp.Or(o.Baseline, usualBaseline), len(groups))
	if len(groups) < 2 {
		c.decide()
		return c, nil
	}
	single := o.Single || slices.ContainsFunc(groups, func(g []float64) bool { return len(g) < 2 })
	base := groups[:c.Baseline]
	c.Centre = stat.Mean(means(base), nil)
	if c.Sigma = shortTerm(base, single); !(c.Sigma > 0) {
		return nil, &NoSeries{"the values of the baseline are all the same: they look copied, and show no scatter"}
	}
	c.Factor = decidingFactor(c.Baseline)
	for _, g := range groups {
		n := len(g)
		if single {
			n = 1
		}
		c.sd = append(c.sd, c.Sigma/math.Sqrt(float64(n)))
	}
	c.start = slices.IndexFunc(c.Points, func(p Point) bool { return !p.Time.Before(o.Since) })
	if c.start < 0 {
		c.start = len(c.Points)
	}
	if single {
		c.individuals()
	} else {
		c.subgroups(groups)
	}
	c.average()
	c.sums()
	c.decide()
	return c, nil
}

// group makes the points: one a value or, of a series by day, one a day (UTC).
func (c *Chart) group(s *Series) [][]float64 {
	var groups [][]float64
	day := func(t time.Time) string { return t.UTC().Format(time.DateOnly) }
	for i, v := range s.Values {
		if i == 0 || !s.ByDay || day(v.Time) != day(s.Values[i-1].Time) {
			c.Points = append(c.Points, Point{Label: v.Label, Time: v.Time})
			groups = append(groups, nil)
		}
		n := len(groups) - 1
		groups[n] = append(groups[n], v.X)
		c.Points[n].Value, c.Points[n].N = stat.Mean(groups[n], nil), len(groups[n])
	}
	return groups
}

// decide works out the state from the signals.
func (c *Chart) decide() {
	slices.SortStableFunc(c.Signals, func(a, b Signal) int { return a.First - b.First })
	counts := slices.ContainsFunc(c.Signals, func(s Signal) bool { return s.Decides && s.Through >= c.start })
	switch {
	case len(c.Points) < leastPoints:
		c.State = CannotTell
		c.warn("%s: too few to tell; it takes %d at least, %d are a good baseline", profiles.Count(len(c.Points), "point"), leastPoints, usualBaseline)
	case c.start == len(c.Points):
		c.State = CannotTell
		c.warn("no point since %s", c.Since.Format(time.DateOnly))
	case counts:
		c.State = OutOfControl
	default:
		c.State = InControl
	}
	if slices.ContainsFunc(c.Signals, func(s Signal) bool { return s.Decides && s.First < c.Baseline }) && c.State != CannotTell {
		c.warn("rules fired within the baseline: its limits hold only for what was in control; look what happened then")
	}
}
