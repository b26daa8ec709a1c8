package plan

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
)

// The search works with indices into the grid of heights, and with the first of the
// normal points, the same for all staggers.
const (
	searchDraws    = 128 // simulated pickups for each comparison of staggers
	firstLookDraws = 32  // simulated pickups for a first, rough comparison
	levelStarts    = 64  // staggers that the search starts from, each nearly of one level
	refinedStarts  = 8   // starts that are compared with their uncertainty, not by their means alone
	mostSteps      = 2   // of the grid by which one string is moved at once
	mostPasses     = 500 // through all moves of a descent: shops' plans take 40 at most
)

// search finds the stagger with the least expected worst deviation, the largest
// among the string sets.
type search struct {
	*job
	tables      [][][]float64 // by variant, string and height: level less target, dB
	independent bool          // in every variant: the tables then hold every level that there is
	samples     []sample      // by variant; kept the same while staggers are compared
	levels      []float64     // scratch, by string: levels less target, dB
	heights     []float64     // scratch, by string: mm
}

func (j *job) newSearch() (*search, error) {
	n := len(j.target)
	s := &search{job: j, independent: true, levels: make([]float64, n), heights: make([]float64, n)}
	for _, v := range j.variants {
		up, err := j.table(v, false)
		if err != nil {
			return nil, err
		}
		across, err := j.table(v, true)
		if err != nil {
			return nil, err
		}
		v.independent = agree(up, across)
		s.independent = s.independent && v.independent
		s.tables = append(s.tables, up)
	}
	return s, nil
}

// table lists, by string, the level less target in dB at each of its heights. All
// strings go through their heights together: upwards, or every second one downwards.
// When both ways give the same table, a string's level depends on its own pole alone.
func (j *job) table(v *variant, across bool) ([][]float64, error) {
	room := j.limits.room
	t := make([][]float64, len(room))
	for i := range t {
		t[i] = make([]float64, room[i])
	}
	index := make([]int, len(room))
	for k := range slices.Max(room) {
		if err := j.ctx.Err(); err != nil {
			return nil, err
		}
		for i := range index {
			index[i] = min(k, room[i]-1)
			if across && i%2 == 1 {
				index[i] = room[i] - 1 - index[i]
			}
		}
		ln, err := v.levels(j.limits.heights(index))
		if err != nil {
			return nil, err
		}
		for i, w := range v.lessTarget(ln) {
			t[i][index[i]] = w
		}
	}
	return t, nil
}

func agree(a, b [][]float64) bool {
	for i := range a {
		if !floats.EqualApprox(a[i], b[i], rounding) {
			return false
		}
	}
	return true
}

// rounding is the difference, in dB, below which two figures are the same.
const rounding = 1e-9

// score orders staggers, the better first: by the expected worst deviation, then
// by the sum of the indices, so that the lowest poles win among equals.
type score struct {
	worst  float64 // dB
	height int
}

func (s score) less(t score) bool {
	if math.Abs(s.worst-t.worst) < rounding {
		return s.height < t.height
	}
	return s.worst < t.worst
}

// noScore is worse than the score of any stagger.
var noScore = score{worst: math.Inf(1)}

// mean is the mean prediction of the deviations under a string set. The slice is
// valid until the next call.
func (s *search) mean(set int, index []int) []float64 {
	if s.independent {
		for i, k := range index {
			s.levels[i] = s.tables[set][i][k]
		}
	} else {
		for i, k := range index {
			s.heights[i] = s.limits.grid[k]
		}
		s.variants[set].lessTarget(s.variants[set].model.Level(s.levels, s.variants[set].setup, s.heights))
	}
	return s.variants[set].deviations(s.levels)
}

// score is that of a stagger in the search's samples; noScore above the ceiling.
func (s *search) score(index []int, ceiling float64) score {
	out := score{height: sum(index)}
	ceiling += rounding
	for set, c := range s.samples {
		out.worst = max(out.worst, c.meanWorst(s.mean(set, index), ceiling))
		if out.worst > ceiling {
			return noScore
		}
	}
	return out
}

func sum(index []int) int {
	t := 0
	for _, k := range index {
		t += k
	}
	return t
}

// resample draws the search's samples at one stagger, for comparisons near it.
func (s *search) resample(index []int, pickups int) error {
	samples, err := s.drawSamples(s.limits.heights(index), pickups)
	s.samples = samples
	return err
}

// ignoreChance replaces the samples by one pickup each without a random part, so
// that staggers are compared by their mean predictions alone.
func (s *search) ignoreChance() {
	s.samples = nil
	for range s.variants {
		s.samples = append(s.samples, sample{len(s.target), make([]float64, len(s.target))})
	}
}

// ownScore is the score of a stagger in samples drawn at that stagger, which the
// search keeps.
func (s *search) ownScore(index []int) (score, error) {
	if err := s.resample(index, searchDraws); err != nil {
		return noScore, err
	}
	return s.score(index, math.Inf(1)), nil
}

// best finds the stagger with the least expected worst deviation: it refines the
// most promising of the starts. When that leaves a string's mean prediction out of
// tolerance, it takes a stagger that leaves none out, if one is found by the mean
// predictions alone.
func (s *search) best() ([]int, error) {
	starts := s.starts()
	best, err := s.refine(s.promising(starts))
	if err != nil {
		return nil, err
	}
	if s.within(best) {
		return best, nil
	}
	s.ignoreChance()
	for _, start := range starts {
		at, got := s.descend(start)
		if err := s.ctx.Err(); err != nil {
			return nil, err
		}
		if got.worst <= s.order.Tolerance+rounding {
			return at, nil
		}
	}
	return best, nil
}

// within reports whether no string's mean prediction is out of tolerance.
func (s *search) within(index []int) bool {
	for set := range s.variants {
		if d := s.mean(set, index); max(slices.Max(d), -slices.Min(d)) > s.order.Tolerance+rounding {
			return false
		}
	}
	return true
}

// starts lists staggers of nearly one level: each brings every string as near as it
// comes to a level, for levels from the lowest to the highest that there is.
func (s *search) starts() [][]int {
	t := s.middle()
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, row := range t {
		lo, hi = min(lo, slices.Min(row)), max(hi, slices.Max(row))
	}
	var list [][]int
	for c := range levelStarts {
		level := lo + (hi-lo)*(float64(c)+0.5)/levelStarts
		index := make([]int, len(t))
		for i, row := range t {
			index[i] = nearestTo(level, row)
		}
		if len(list) == 0 || !slices.Equal(index, list[len(list)-1]) {
			list = append(list, index)
		}
	}
	return list
}

// middle is one table for all variants: half-way between the highest and the lowest
// level, with the mean level of each variant subtracted first.
func (s *search) middle() [][]float64 {
	means := make([]float64, len(s.tables))
	for set, t := range s.tables {
		for _, row := range t {
			means[set] += stat.Mean(row, nil) / float64(len(t))
		}
	}
	out := make([][]float64, len(s.target))
	for i := range out {
		out[i] = make([]float64, s.limits.room[i])
		for k := range out[i] {
			lo, hi := math.Inf(1), math.Inf(-1)
			for set, t := range s.tables {
				lo, hi = min(lo, t[i][k]-means[set]), max(hi, t[i][k]-means[set])
			}
			out[i][k] = (lo + hi) / 2
		}
	}
	return s.limits.meet(out)
}

// meet is a table in which strings that share a pole have the mean of their levels.
func (l *limits) meet(table [][]float64) [][]float64 {
	if l.shared == nil {
		return table
	}
	out := make([][]float64, len(table))
	for i, over := range l.shared {
		out[i] = make([]float64, len(table[i]))
		for _, k := range over {
			floats.AddScaled(out[i], 1/float64(len(over)), table[k])
		}
	}
	return out
}

// nearestTo is the index of the value that is nearest to x; the first of equals.
func nearestTo(x float64, list []float64) int {
	best := 0
	for k, v := range list {
		if math.Abs(v-x) < math.Abs(list[best]-x)-rounding {
			best = k
		}
	}
	return best
}

// promising returns the stagger to refine. It takes the starts whose mean
// predictions are nearly as good as the best, picks some of them spread evenly over
// the levels, descends from each with few simulated pickups, and returns the one
// with the best own score.
func (s *search) promising(starts [][]int) []int {
	const nearly = 0.6 // dB
	s.ignoreChance()
	least := math.Inf(1)
	means := make([]float64, len(starts))
	for i, index := range starts {
		means[i] = s.score(index, math.Inf(1)).worst
		least = min(least, means[i])
	}
	var near [][]int
	for i, index := range starts {
		if means[i] <= least+nearly {
			near = append(near, index)
		}
	}
	best, bestScore := near[0], noScore
	for _, index := range evenly(near, refinedStarts) {
		if s.resample(index, firstLookDraws) != nil {
			continue // refine meets the same error and returns it
		}
		index, _ = s.descend(index)
		if got, err := s.ownScore(index); err == nil && got.less(bestScore) {
			best, bestScore = index, got
		}
	}
	return best
}

// evenly picks at most n of a list, the first and the last among them.
func evenly[T any](list []T, n int) []T {
	if len(list) <= n {
		return list
	}
	var out []T
	for i := range n {
		out = append(out, list[i*(len(list)-1)/(n-1)])
	}
	return out
}

// refine draws samples at the stagger, descends in them, and repeats from where it
// arrived until that is no better.
func (s *search) refine(index []int) ([]int, error) {
	const rounds = 4
	best, least := index, noScore
	for range rounds {
		got, err := s.ownScore(index)
		if err != nil {
			return nil, err
		}
		if !got.less(least) {
			break
		}
		best, least = index, got
		index, _ = s.descend(index)
	}
	return best, nil
}

// descend makes small moves as long as one improves the score in the search's
// samples: one string by a few steps, two strings by one step each, or all by one. Where a
// model's uncertainty is so large that rounding decides, moves could go round for ever:
// passes are counted. It stops where it is when the context ends, which what is done with
// the result then notices.
func (s *search) descend(index []int) ([]int, score) {
	at := slices.Clone(index)
	best := s.score(at, math.Inf(1))
	for helped, passes := true, 0; helped && passes < mostPasses && s.ctx.Err() == nil; passes++ {
		helped = s.shift(at, &best, -1) || s.shift(at, &best, 1)
		for a := range at {
			if s.ctx.Err() != nil {
				break
			}
			for by := 1; by <= mostSteps; by++ {
				helped = s.try(at, &best, a, at[a]-by, a, at[a]-by) || helped
				helped = s.try(at, &best, a, at[a]+by, a, at[a]+by) || helped
			}
			for b := range a {
				for _, m := range diagonals {
					helped = s.try(at, &best, a, at[a]+m[0], b, at[b]+m[1]) || helped
				}
			}
		}
	}
	return at, best
}

// diagonals are the moves of two strings by one step each.
var diagonals = [][2]int{{1, 1}, {1, -1}, {-1, 1}, {-1, -1}}

// shift moves all strings by one step when that is better.
func (s *search) shift(at []int, best *score, by int) bool {
	moved := slices.Clone(at)
	for i := range moved {
		if moved[i] += by; moved[i] < 0 || moved[i] >= s.limits.room[i] {
			return false
		}
	}
	got := s.score(moved, best.worst)
	if !got.less(*best) {
		return false
	}
	copy(at, moved)
	*best = got
	return true
}

// try moves string a to height k and string b to l when that is better.
func (s *search) try(at []int, best *score, a, k, b, l int) bool {
	if min(k, l) < 0 || k >= s.limits.room[a] || l >= s.limits.room[b] {
		return false
	}
	wasA, wasB := at[a], at[b]
	s.limits.set(at, a, k)
	s.limits.set(at, b, l)
	if got := s.score(at, best.worst); got.less(*best) {
		*best = got
		return true
	}
	s.limits.set(at, b, wasB)
	s.limits.set(at, a, wasA)
	return false
}
