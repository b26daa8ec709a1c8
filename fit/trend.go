package fit

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/stat/distuv"
)

// Trend is how the levels of pickups that were left out run away from what the
// others predict, in the order in which they were captured.
//
// The test is that of H. B. Mann (Nonparametric tests against trend,
// Econometrica 13, 1945) on M. G. Kendall's score S, in blocks whose scores add
// up, as in R. M. Hirsch, J. R. Slack, R. A. Smith (Techniques of trend analysis
// for monthly water quality data, Water Resources Research 18, 1982). Pickups are
// one block, each with its mean, since the sessions of one pickup share its coil;
// sessions that captured one pickup again under the same strings are one block
// each. The slope is the median over the pairs that the score compares (P. K. Sen,
// Estimates of the regression coefficient based on Kendall's tau, J. Am. Stat.
// Assoc. 63, 1968).
type Trend struct {
	PerMonth float64   `json:"db_per_month"`
	P        float64   `json:"p"` // two-sided
	From     time.Time `json:"from"`
	To       time.Time `json:"to"`
	Pickups  int       `json:"n_pickups"`
	Repeats  int       `json:"n_repeats"` // sessions that captured a pickup again
}

const (
	// trendWarningP is how unlikely without drift a warning is. One test is made at each
	// fit, and a shop fits often: one in twenty would cry wolf.
	trendWarningP = 0.01

	// leastTrendSpan is the least time that a drift is looked for in: days of work
	// tell nothing of months.
	leastTrendSpan = 14 * 24 * time.Hour

	monthHours = 365.25 / 12 * 24
)

// timedError is what cells missed on average, ln v, and when.
type timedError struct {
	at  time.Time
	err float64
}

// trendOf watches what leaving pickups out missed; nil when it cannot be told.
func trendOf(folds []Fold) *Trend {
	var pickups []timedError
	repeats := map[string][]timedError{}
	for _, f := range folds {
		if m, ok := timedErrorOf(f.cells, f.errors, func(*cell.Cell) bool { return true }); ok {
			pickups = append(pickups, m)
		}
		f.addRepeats(repeats)
	}
	blocks := [][]timedError{pickups}
	dr := &Trend{Pickups: len(pickups)}
	for _, key := range slices.Sorted(maps.Keys(repeats)) {
		blocks = append(blocks, repeats[key])
		dr.Repeats += len(repeats[key]) - 1
	}
	for _, m := range slices.Concat(blocks...) {
		if dr.From.IsZero() || m.at.Before(dr.From) {
			dr.From = m.at
		}
		if m.at.After(dr.To) {
			dr.To = m.at
		}
	}
	slopes, score := comparePairs(blocks)
	if dr.To.Sub(dr.From) < leastTrendSpan || len(slopes) == 0 {
		return nil
	}
	slices.Sort(slopes)
	dr.PerMonth = level.PerLn * solve.Median(slopes)
	dr.P = trendPValue(blocks, score)
	return dr
}

// addRepeats adds the sessions of a pickup to the block of those that repeat
// each other: the same strings as high, to half a millimetre.
func (f *Fold) addRepeats(blocks map[string][]timedError) {
	sets := (&cell.Data{Cells: f.cells}).SetNames()
	height, seen := map[string][]float64{}, map[string]string{}
	for i, c := range f.cells {
		height[c.Session] = append(height[c.Session], c.StringHeight)
		seen[c.Session] = sets[i]
	}
	for _, session := range slices.Sorted(maps.Keys(seen)) {
		m, ok := timedErrorOf(f.cells, f.errors, func(c *cell.Cell) bool { return c.Session == session })
		if !ok {
			continue
		}
		key := fmt.Sprintf("%s\x00%s\x00%.0f", f.Name, seen[session], 2*solve.Mean(height[session]))
		blocks[key] = append(blocks[key], m)
	}
}

// timedErrorOf averages over the cells that are in and have a time and a
// prediction; false without any.
func timedErrorOf(cells []cell.Cell, missed []float64, in func(*cell.Cell) bool) (timedError, bool) {
	var miss, after []float64
	var first time.Time
	for i, e := range missed {
		c := &cells[i]
		if !in(c) || c.First.IsZero() || math.IsNaN(e) {
			continue
		}
		if first.IsZero() {
			first = c.First
		}
		miss, after = append(miss, e), append(after, c.First.Sub(first).Seconds())
	}
	if len(miss) == 0 {
		return timedError{}, false
	}
	return timedError{first.Add(time.Duration(solve.Mean(after) * float64(time.Second))), solve.Mean(miss)}, true
}

// comparePairs compares every two moments of a block: slopes, ln v per
// month, and Kendall's score of all.
func comparePairs(blocks [][]timedError) (slopes []float64, score int) {
	for _, b := range blocks {
		for i := range b {
			for _, other := range b[i+1:] {
				months := other.at.Sub(b[i].at).Hours() / monthHours
				if months == 0 {
					continue
				}
				slope := (other.err - b[i].err) / months
				slopes = append(slopes, slope)
				score += cmp.Compare(slope, 0)
			}
		}
	}
	return slopes, score
}

// trendPValue is how likely a score as far from 0 as this is where order means
// nothing.
func trendPValue(blocks [][]timedError, score int) float64 {
	score = max(score, -score)
	var most int
	var variance float64
	for _, b := range blocks {
		n := len(b)
		most += n * (n - 1) / 2
		variance += float64(n*(n-1)*(2*n+5)) / 18
	}
	const many = 10000 // pairs, some 140 pickups: the normal limit is close
	if most > many {
		z := (math.Abs(float64(score)) - 1) / math.Sqrt(variance)
		return min(1, 2*distuv.UnitNormal.Survival(z))
	}
	var p float64
	for inversions, q := range inversionChances(blocks) {
		if s := most - 2*inversions; s >= score || s <= -score {
			p += q
		}
	}
	return min(1, p)
}

// inversionChances is the chance of each number of pairs that fall, when all orders
// within the blocks are alike: the product of (1 + x + ... + x^(k-1))/k over each
// block's k.
func inversionChances(blocks [][]timedError) []float64 {
	chances := []float64{1}
	for _, b := range blocks {
		for k := 2; k <= len(b); k++ {
			next := make([]float64, len(chances)+k-1)
			var window float64
			for i := range next {
				if i < len(chances) {
					window += chances[i]
				}
				if i >= k {
					window -= chances[i-k]
				}
				next[i] = window / float64(k)
			}
			chances = next
		}
	}
	return chances
}

// warning says a drift that is more than chance; "" without one.
func (d *Trend) warning() string {
	if d == nil || d.P >= trendWarningP {
		return ""
	}
	const day = "2006-01-02"
	return fmt.Sprintf("levels drift: from %s to %s pickups came out %+.2f dB per month against what the others predict (Mann-Kendall test, p = %.2g): check the jig's gain and how it plucks, and measure an old pickup again",
		d.From.Format(day), d.To.Format(day), d.PerMonth, d.P)
}
