package fit

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/fit/solve"
)

// Trend is how the levels of pickups that were left out drift in time from what the
// others predict.
//
// Pickups are one block of the test (see trendPValue), each with its mean error, since
// the sessions of one pickup share its coil; sessions that captured one pickup again
// under the same strings are one block each.
type Trend struct {
	PerMonth float64   `json:"db_per_month"`
	P        float64   `json:"p"` // two-sided
	From     time.Time `json:"from"`
	To       time.Time `json:"to"`
	Pickups  int       `json:"n_pickups"`
	Repeats  int       `json:"n_repeats"` // sessions that captured a pickup again
}

const (
	// trendWarningP is the chance of a warning where nothing drifts. One test is made at
	// each fit, and a shop fits often: with one in twenty, false alarms would be common.
	trendWarningP = 0.01

	// leastTrendSpan is the least time that a trend is estimated from: a few days of work
	// say nothing of months.
	leastTrendSpan = 14 * 24 * time.Hour
)

// trendOf estimates the trend of the errors of pickups left out; nil when they are too
// few or too close in time.
func trendOf(folds []Fold) *Trend {
	var pickups []timedError
	repeats := map[string][]timedError{}
	for _, f := range folds {
		if e, ok := f.meanErrorOf(func(*cell.Cell) bool { return true }); ok {
			pickups = append(pickups, e)
		}
		f.addRepeats(repeats)
	}
	blocks := [][]timedError{pickups}
	t := &Trend{Pickups: len(pickups)}
	for _, key := range slices.Sorted(maps.Keys(repeats)) {
		blocks = append(blocks, repeats[key])
		t.Repeats += len(repeats[key]) - 1
	}
	for _, e := range slices.Concat(blocks...) {
		if t.From.IsZero() || e.at.Before(t.From) {
			t.From = e.at
		}
		if e.at.After(t.To) {
			t.To = e.at
		}
	}
	slopes, score := comparePairs(blocks)
	if t.To.Sub(t.From) < leastTrendSpan || len(slopes) == 0 {
		return nil
	}
	slices.Sort(slopes)
	t.PerMonth = level.PerLn * solve.Median(slopes)
	t.P = trendPValue(blocks, score)
	return t
}

// addRepeats adds each session of a pickup to the block of the sessions that repeat it:
// of the same strings, as high to half a millimetre.
func (f *Fold) addRepeats(blocks map[string][]timedError) {
	sets := (&cell.Data{Cells: f.cells}).SetNames()
	heights, set := map[string][]float64{}, map[string]string{}
	for i, c := range f.cells {
		heights[c.Session] = append(heights[c.Session], c.StringHeight)
		set[c.Session] = sets[i]
	}
	for _, session := range slices.Sorted(maps.Keys(set)) {
		e, ok := f.meanErrorOf(func(c *cell.Cell) bool { return c.Session == session })
		if !ok {
			continue
		}
		key := fmt.Sprintf("%s\x00%s\x00%.0f", f.Name, set[session], 2*solve.Mean(heights[session]))
		blocks[key] = append(blocks[key], e)
	}
}

// meanErrorOf is the mean error of the cells that are in and have a time and a
// prediction; false without any.
func (f *Fold) meanErrorOf(in func(*cell.Cell) bool) (timedError, bool) {
	var errors, after []float64
	var first time.Time
	for i, e := range f.errors {
		c := &f.cells[i]
		if !in(c) || c.First.IsZero() || math.IsNaN(e) {
			continue
		}
		if first.IsZero() {
			first = c.First
		}
		errors, after = append(errors, e), append(after, c.First.Sub(first).Seconds())
	}
	if len(errors) == 0 {
		return timedError{}, false
	}
	return timedError{first.Add(time.Duration(solve.Mean(after) * float64(time.Second))), solve.Mean(errors)}, true
}

// warning says that levels drift by more than chance; "" when they do not.
func (t *Trend) warning() string {
	if t == nil || t.P >= trendWarningP {
		return ""
	}
	const day = "2006-01-02"
	return fmt.Sprintf("levels drift: from %s to %s pickups came out %+.2f dB per month against what the others predict (Mann-Kendall test, p = %.2g): check the jig's gain and how it plucks, and measure an old pickup again",
		t.From.Format(day), t.To.Format(day), t.PerMonth, t.P)
}
