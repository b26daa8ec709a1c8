package repeat

import (
	"cmp"
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"
	"time"

	"evenpole/capture/record"
	"evenpole/fit/cell"
	"evenpole/fit/level"
)

// sittingGap is the pause at the bench after which another sitting begins (our
// rule): time enough for the room, the jig and the hand to change.
const sittingGap = 3 * time.Hour

// run is one session of a study: a pickup as it was mounted, all its strings.
type run struct {
	session, pickup, jig        string
	operator, sitting, mounting string
	at                          time.Time
	levels                      []float64 // dB re 1 mV, string 1 first
	takes                       []int     // good ones, by string
	squares, dof                float64   // of the takes about their means, over all strings
}

// gather makes runs of the readings of purpose repeat. Sessions that lack a
// string that others of the pickup have are left out, and named.
func gather(rows iter.Seq2[record.Reading, error], o Options) (runs []run, warnings []string, err error) {
	sessions := map[string]string{}
	data, err := cell.GatherOnly(func(r *record.Reading) bool {
		return r.Purpose == record.ForRepeat && !r.Time.Before(o.Since) && (o.Pickup == "" || r.Pickup == o.Pickup)
	}, namingSessions(rows, sessions))
	if err != nil {
		return nil, nil, err
	}
	for _, cells := range data.Sessions() {
		r, why := newRun(cells)
		r.jig = sessions[r.session]
		if why != "" {
			warnings = append(warnings, why)
			continue
		}
		runs = append(runs, r)
	}
	runs, short := complete(runs)
	for i := range runs {
		runs[i].operator = o.Captured[runs[i].session]
	}
	o.Operators.assign(runs)
	return runs, slices.Concat(warnings, short, o.Operators.strangers(sessions)), nil
}

// namingSessions passes rows on, and notes which sessions they are of, and on which jig.
func namingSessions(rows iter.Seq2[record.Reading, error], sessions map[string]string) iter.Seq2[record.Reading, error] {
	return func(yield func(record.Reading, error) bool) {
		for r, err := range rows {
			sessions[r.Session] = r.Jig
			if !yield(r, err) {
				return
			}
		}
	}
}

// newRun makes a run of one session's cells, or says why there is none.
func newRun(cells []cell.Cell) (r run, why string) {
	r = run{session: cells[0].Session, pickup: cells[0].Pickup, at: cells[0].First.Time()}
	for i := range cells {
		c := &cells[i]
		if c.String != i+1 {
			return r, fmt.Sprintf("session %q of pickup %q is left out: expected good takes of string %d, set up in one way, got those of string %d", r.session, r.pickup, i+1, c.String)
		}
		if at := c.First.Time(); at.Before(r.at) {
			r.at = at
		}
		mean, sd := c.Plain()
		r.levels = append(r.levels, float64(level.Ln(mean).DB()))
		r.takes = append(r.takes, c.Takes)
		r.dof += float64(c.Takes - 1)
		r.squares += float64(c.Takes-1) * level.PerLn * level.PerLn * sd * sd
	}
	return r, ""
}

// complete keeps the runs that have as many strings as their pickup's largest.
func complete(runs []run) (kept []run, warnings []string) {
	most := map[string]int{}
	for _, r := range runs {
		most[r.pickup] = max(most[r.pickup], len(r.levels))
	}
	for _, r := range runs {
		if n := len(r.levels); n < most[r.pickup] {
			warnings = append(warnings, fmt.Sprintf("session %q of pickup %q is left out: expected %d strings, got %d", r.session, r.pickup, most[r.pickup], n))
			continue
		}
		kept = append(kept, r)
	}
	slices.SortFunc(kept, func(a, b run) int {
		return cmp.Or(a.at.Compare(b.at), strings.Compare(a.session, b.session), strings.Compare(a.pickup, b.pickup))
	})
	return kept, warnings
}

// weight is the harmonic mean of the strings' numbers of takes: the mean variance of
// the levels is that of as many takes each. It is exact when all strings have the same
// number of takes.
func (r *run) weight() float64 {
	var s float64
	for _, n := range r.takes {
		s += 1 / float64(n)
	}
	return float64(len(r.takes)) / s
}

// level is the mean over the strings, dB.
func (r *run) level() float64 {
	var s float64
	for _, l := range r.levels {
		s += l / float64(len(r.levels))
	}
	return s
}

// contrasts are Helmert's contrasts of the levels, which hold what the levels say
// besides their mean: string j+1 against the mean of those before it, scaled to length
// one. They are as independent of each other as the levels are, and each has the
// variance that each string has of its own.
func (r *run) contrasts() []float64 {
	var out []float64
	sum := r.levels[0]
	for j, l := range r.levels[1:] {
		n := float64(j + 1)
		out = append(out, (l-sum/n)*math.Sqrt(n/(n+1)))
		sum += l
	}
	return out
}

// assign fills in who made the runs, in which sitting and mounting. Runs are in the
// order of time, and each jig has sittings of its own.
func (w Operators) assign(runs []run) {
	sittings := 0
	now, last := map[string]int{}, map[string]time.Time{} // of each jig
	for i := range runs {
		r := &runs[i]
		if at, begun := last[r.jig]; !begun || r.at.Sub(at) > sittingGap {
			sittings++
			now[r.jig] = sittings
		}
		last[r.jig] = r.at
		sitting := now[r.jig]
		n := w[r.session]
		r.operator, r.sitting, r.mounting = cmp.Or(n.Operator, r.operator), n.Sitting, n.Mounting
		if r.sitting == "" {
			r.sitting = fmt.Sprintf("\x00%d", sitting) // no name that a file can have
		}
		if r.mounting == "" {
			r.mounting = "\x00" + r.session
		}
		r.mounting = r.sitting + "\x00" + r.pickup + "\x00" + r.mounting
	}
}
