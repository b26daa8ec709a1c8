package screen

import (
	"fmt"
	"math"

	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/fit/solve"
)

// The scatter of a drift over a session, ln v: what is looked for, and what is
// ordinary.
const (
	driftSD, ordinaryDrift = 0.15, 0.02

	mostDrift    = 0.4  // more than 3.5 dB within a session is something else
	leastInTakes = 0.25 // share of it that the takes of each string show: poles and heights may differ along the row, too
	mostApart    = 2.5  // standard errors between what the takes of each string show and what all levels do
	clearInTakes = 2    // standard errors from which the takes of each string show it beyond another mistake
)

// sessionTrend is how levels went with time from take to take of each string, over
// all strings of a mounting. Time runs from -0.5 at the first take to 0.5 at the last.
type sessionTrend struct {
	length    float64   // of the session, seconds
	when      []float64 // mean time of each cell of the mounting; 0 where its takes have none
	spread    float64   // sum of squared times, about each cell's mean
	slope, se float64   // ln v from the first take to the last
	variance  float64   // of slope, by the takes' scatter
}

// trendOf is a mounting's trend; false when its takes show none. It stands on when.
func (s *screener) trendOf(m mounting, when []float64) (sessionTrend, bool) {
	first, last := math.Inf(1), math.Inf(-1)
	for _, i := range m {
		if w := s.cells[i].TakeStats; w != nil {
			first, last = min(first, w.Trend.First), max(last, w.Trend.Last)
		}
	}
	t := sessionTrend{length: last - first, when: when}
	if !(t.length > 0) || !solve.Finite(t.length) {
		return t, false
	}
	var cross float64
	for x, i := range m {
		if w := s.cells[i].TakeStats; w != nil {
			t.when[x] = (w.Trend.Mean-first)/t.length - 0.5
			cross += w.Trend.Cross / t.length
			t.spread += w.Trend.Spread / (t.length * t.length)
		}
	}
	take := s.levels.takeVariance.Of(s.cells[m[0]])
	if !(t.spread > 0) || take == 0 {
		return t, false
	}
	t.variance = take / t.spread
	t.slope, t.se = cross/t.spread, math.Sqrt(t.variance)
	return t, true
}

// driftOf looks for a level that runs away from a session's first take to its last:
// from take to take of each string, and from string to string. It is nil when there
// is none; inTakes is how many standard errors the takes of each string show of it.
func (s *screener) driftOf(k int, b *baseline) (h *hypothesis, inTakes float64) {
	m := s.mountings[k]
	b.when = grown(b.when, len(m))
	t, ok := s.trendOf(m, b.when)
	if !ok {
		return nil, 0
	}
	slope, evidence := b.slope(t.when, t.slope, t.variance, driftSD, ordinaryDrift)
	if !(evidence >= leastDriftEvidence) || t.slope/slope < leastInTakes || math.Abs(slope-t.slope) > mostApart*t.se || math.Abs(slope) > mostDrift {
		return nil, 0
	}
	h = &hypothesis{
		kind: DriftInSession, mounting: k, columns: []string{"rms_mv", "peak_mv"}, corrected: map[int]*cell.Cell{},
		pickups: []string{s.cells[m[0]].Pickup}, evidence: evidence,
		words: func() string {
			return fmt.Sprintf("levels go by %+.1f dB from the session's first take to its last", level.Ln(slope).DB())
		},
	}
	for x, i := range m {
		h.corrected[i] = t.takenOff(*s.cells[i], t.when[x], slope)
	}
	return h, math.Abs(t.slope) / t.se
}

// takenOff is a cell without a drift of this slope, its mean time given.
func (t *sessionTrend) takenOff(c cell.Cell, when, slope float64) *cell.Cell {
	c.Mean -= slope * when
	if c.TakeStats != nil {
		w := *c.TakeStats
		w.Trend.Cross -= slope * w.Trend.Spread / t.length
		c.TakeStats = &w
	}
	return &c
}

// slope estimates by how much levels rise with a covariate of the mounting's cells, of
// which the scatter of their takes gives an estimate of its own, inTakes with the variance
// inTakesVar. evidence is ln of the likelihood ratio of a slope that scatters by sd
// against one that scatters by sd0.
func (b *baseline) slope(covariate []float64, inTakes, inTakesVar, sd, sd0 float64) (slope, evidence float64) {
	d := &b.density
	z := b.along[:0]
	for x, r := range b.rows {
		if !r.unknown {
			z = append(z, covariate[x])
		}
	}
	for i := range z {
		z[i] = (z[i] - inner(d.factor[i*d.most:i*d.most+i], z)) / d.factor[i*d.most+i]
	}
	b.along = z
	precision := inner(z, z) + 1/inTakesVar
	sum := inner(z, d.solved) + inTakes/inTakesVar
	logRatio := func(sd float64) float64 {
		shrink := 1 / (precision + 1/(sd*sd))
		return sum*sum*shrink/2 - math.Log1p(precision*sd*sd)/2
	}
	return sum / (precision + 1/(sd*sd)), logRatio(sd) - logRatio(sd0)
}
