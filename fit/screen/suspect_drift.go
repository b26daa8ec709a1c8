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

	mostDrift = 0.4  // more than 3.5 dB within a session is something else
	leastOwn  = 0.25 // share of it that the takes of each string show themselves: poles and heights may differ along the row, too
	mostApart = 2.5  // standard errors between what the takes say themselves and what the strings say
	plainOwn  = 2    // standard errors from which the takes of each string show it beyond another mistake
)

// drifted looks for a level that runs away from a session's first take to its last:
// from take to take of each string, and from string to string. nil when there is
// none; plain is how many standard errors the takes of each string show of it.
func (s *screener) drifted(k int, t *trial) (f *finding, plain float64) {
	m := s.mounts[k]
	first, last := math.Inf(1), math.Inf(-1)
	for _, i := range m {
		if w := s.cells[i].Within; w != nil {
			first, last = min(first, w.Trend.First), max(last, w.Trend.Last)
		}
	}
	length := last - first
	if !(length > 0) || !solve.Finite(length) {
		return nil, 0
	}
	var cross, spread float64
	along := map[int]float64{}
	for _, i := range m {
		if w := s.cells[i].Within; w != nil {
			along[i] = (w.Trend.Mean-first)/length - 0.5
			cross += w.Trend.Cross / length
			spread += w.Trend.Spread / (length * length)
		}
	}
	if !(spread > 0) || s.j.take == 0 {
		return nil, 0
	}
	own, se := cross/spread, math.Sqrt(s.j.take/spread)
	slope, evidence := t.slope(along, cross/spread, s.j.take/spread, driftSD, ordinaryDrift)
	if !(evidence >= enoughDrift) || own/slope < leastOwn || math.Abs(slope-own) > mostApart*se || math.Abs(slope) > mostDrift {
		return nil, 0
	}
	f = &finding{kind: DriftInSession, mount: k, columns: []string{"rms_mv", "peak_mv"}, now: map[int]cell.Cell{}, pickups: []string{s.cells[m[0]].Pickup}, evidence: evidence}
	for _, i := range m {
		c := s.cells[i]
		c.Mean -= slope * along[i]
		if c.Within != nil { // what is left of it has no trend
			w := *c.Within
			w.Trend.Cross -= slope * w.Trend.Spread / length
			c.Within = &w
		}
		f.now[i] = c
	}
	f.cause = fmt.Sprintf("levels go by %+.1f dB from the session's first take to its last", level.PerLn*slope)
	return f, math.Abs(own) / se
}
