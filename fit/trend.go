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
	"evenpole/profiles"
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
	repeats := make([]map[string][]timedError, len(folds))
	solve.InParallelEach(len(folds), func(k int) { repeats[k] = folds[k].repeats() })
	var pickups []timedError
	blocks := [][]timedError{nil} // the first one is that of pickups
	t := &Trend{}
	for k := range folds {
		if e, ok := folds[k].meanErrorOf(0, len(folds[k].errors)); ok {
			pickups = append(pickups, e)
		}
		for _, key := range slices.Sorted(maps.Keys(repeats[k])) {
			blocks = append(blocks, thinned(repeats[k][key]))
			t.Repeats += len(repeats[k][key]) - 1
		}
	}
	t.Pickups, blocks[0] = len(pickups), thinned(pickups)
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

// mostCompared is how many errors of a block are compared pair by pair.
const mostCompared = 1000

// thinned are the means of as many errors each, in the order of their times, as leave at
// most mostCompared: the pairs of many thousand pickups, or of as many sessions of one,
// would take longer than their fit.
func thinned(all []timedError) []timedError {
	if len(all) <= mostCompared {
		return all
	}
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(a, b timedError) int { return a.at.Compare(b.at) })
	var out []timedError
	for group := range slices.Chunk(all, (len(all)+mostCompared-1)/mostCompared) {
		mean := timedError{at: group[0].at}
		var after float64
		for _, e := range group {
			mean.err += e.err / float64(len(group))
			after += e.at.Sub(mean.at).Seconds() / float64(len(group))
		}
		mean.at = mean.at.Add(time.Duration(after * float64(time.Second)))
		out = append(out, mean)
	}
	return out
}

// repeats are the sessions of a pickup in blocks that repeat each other: of the same
// strings, as high to half a millimetre. The cells of a session stand together.
func (f *Fold) repeats() map[string][]timedError {
	blocks := map[string][]timedError{}
	for first := 0; first < len(f.errors); {
		last := first + 1
		for last < len(f.errors) && f.cells[last].Session == f.cells[first].Session {
			last++
		}
		if e, ok := f.meanErrorOf(first, last); ok {
			cells := f.cells[first:last]
			height := 0.0
			for i := range cells {
				height += cells[i].StringHeight / float64(len(cells))
			}
			set := (&cell.Data{Cells: cells}).SetNames()[len(cells)-1]
			key := fmt.Sprintf("%s\x00%.0f", set, 2*height)
			blocks[key] = append(blocks[key], e)
		}
		first = last
	}
	return blocks
}

// meanErrorOf is the mean error of the cells from first to before last that have a time
// and a prediction; false without any.
func (f *Fold) meanErrorOf(first, last int) (timedError, bool) {
	var sum, after float64
	var n int
	var from time.Time
	for i := first; i < last; i++ {
		c := &f.cells[i]
		if c.First.IsZero() || math.IsNaN(f.errors[i]) {
			continue
		}
		if from.IsZero() {
			from = c.First.Time()
		}
		n++
		sum += f.errors[i]
		after += c.First.Time().Sub(from).Seconds()
	}
	if n == 0 {
		return timedError{}, false
	}
	mean := after / float64(n)
	return timedError{from.Add(time.Duration(mean * float64(time.Second))), sum / float64(n)}, true
}

// warning says that levels drift by more than chance; "" when they do not.
func (t *Trend) warning() string {
	if t == nil || t.P >= trendWarningP {
		return ""
	}
	const day = "2006-01-02"
	return profiles.Sprintf("levels drift: from %s to %s pickups came out %+.2f dB per month against what the others predict (Mann-Kendall test, p = %.2g): check the jig's gain and how it plucks, and measure an old pickup again",
		t.From.Format(day), t.To.Format(day), t.PerMonth, t.P)
}
