package plan

import (
	"cmp"
	"math"
	"slices"
)

// flat judges all poles at one height, the one with the least expected spread;
// of equals the lowest.
//
// An expected spread is never less than the spread of the means, a convex
// function of them (Jensen's inequality), so that heights are tried in the
// order of the latter, and only until the means alone are worse.
func (j *job) flat() (*Flat, error) {
	var best *Flat
	for _, t := range j.flatTries() {
		if best != nil && t.spread > best.Spread {
			break
		}
		heights := j.limits.heights(t.index)
		got, err := j.judge(heights)
		if err != nil {
			return nil, err
		}
		if best == nil || got.Spread < best.Spread || got.Spread == best.Spread && heights[0] < best.Height {
			best = &Flat{Height: heights[0], Judgement: got}
		}
	}
	return best, nil
}

// flatTry is a common height and the spread of its mean prediction in dB.
type flatTry struct {
	index  []int
	spread float64
}

// flatTries lists the common heights, the least spread first.
func (j *job) flatTries() []flatTry {
	var tries []flatTry
	for k := range j.limits.common() {
		index := slices.Repeat([]int{k}, len(j.offset))
		tries = append(tries, flatTry{index, j.score(index, math.Inf(1)).spread})
	}
	slices.SortStableFunc(tries, func(a, b flatTry) int { return cmp.Compare(a.spread, b.spread) })
	return tries
}
