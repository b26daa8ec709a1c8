package plan

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// flat judges all poles at one height, the one with the least expected spread;
// of equals the lowest.
//
// An expected spread is never less than the spread of the means, a convex
// function of them (Jensen's inequality), so that heights are tried in the
// order of the latter, and only until the means alone are worse. For the choice
// a part of the points will do: all heights meet the same ones.
func (j *job) flat() (*Flat, error) {
	sample := (j.opt.Draws + 7) / 8
	best, least := math.Inf(1), math.Inf(1) // mm, dB
	for _, t := range j.levelTops() {
		if t.spread > least {
			break
		}
		heights := slices.Repeat([]float64{t.height}, len(j.offset))
		root, err := j.root(heights, j.slopes(heights))
		if err != nil {
			return nil, err
		}
		spreads, _ := j.simulate(t.deviation, root, sample)
		s := stat.Mean(spreads, nil)
		if same(s, least) && t.height < best || s < least && !same(s, least) {
			best, least = t.height, s
		}
	}
	got, err := j.judge(slices.Repeat([]float64{best}, len(j.offset)))
	return &Flat{best, got}, err
}

// levelTop is a common height in mm with its mean prediction in dB.
type levelTop struct {
	height    float64
	deviation []float64 // but for a constant, which no spread sees
	spread    float64
}

// levelTops lists the common heights, the least spread first.
func (j *job) levelTops() []levelTop {
	var tops []levelTop
	for k, h := range j.limits.common() {
		d := j.wanted(slices.Repeat([]int{k}, len(j.offset)))
		tops = append(tops, levelTop{h, d, slices.Max(d) - slices.Min(d)})
	}
	slices.SortStableFunc(tops, func(a, b levelTop) int { return cmp.Compare(a.spread, b.spread) })
	return tops
}
