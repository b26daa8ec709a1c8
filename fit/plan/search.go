package plan

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
)

// The search works with indices into the grid of heights, and with a part of
// the points: all staggers meet the same ones.
const (
	searched   = 128 // simulated pickups behind each comparison
	sketched   = 32  // of these the ones behind a first look
	levelsSeen = 64  // common levels that strings are brought to
	begun      = 8   // of these the ones that are looked at with their uncertainty
	window     = 2   // steps to either side that one string is moved at once
)

// search looks for the stagger with the least expected worst deviation, under
// the string set that suits it least.
type search struct {
	*job
	tables [][][]float64 // by bed, string and height: level less target, dB
	apart  bool          // no string hears its neighbours' poles: the tables say all
	clouds []cloud       // by bed, frozen while staggers are compared
	level  []float64     // scratch, one string each
	at     []float64     // likewise: heights, mm
}

func (j *job) newSearch() (*search, error) {
	n := len(j.offset)
	s := &search{job: j, apart: true, level: make([]float64, n), at: make([]float64, n)}
	for _, b := range j.beds {
		up, err := j.table(b, false)
		if err != nil {
			return nil, err
		}
		across, err := j.table(b, true)
		if err != nil {
			return nil, err
		}
		b.apart = agree(up, across)
		s.apart = s.apart && b.apart
		s.tables = append(s.tables, up)
	}
	return s, nil
}

// table lists, by string, the level less target in dB at each of its heights,
// all strings going through their heights together: upwards, or every second
// one downwards. When both ways give the same, no string hears its neighbours'
// poles.
func (j *job) table(b *bed, across bool) ([][]float64, error) {
	room := j.limits.room
	t := make([][]float64, len(room))
	for i := range t {
		t[i] = make([]float64, room[i])
	}
	index := make([]int, len(room))
	for k := range slices.Max(room) {
		for i := range index {
			index[i] = min(k, room[i]-1)
			if across && i%2 == 1 {
				index[i] = room[i] - 1 - index[i]
			}
		}
		v, err := b.levels(j.limits.heights(index))
		if err != nil {
			return nil, err
		}
		for i, w := range b.lessTarget(v) {
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

// score orders staggers, the better first: by the expected worst deviation,
// then by the sum of the indices, so that of equals the lowest poles are taken.
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

// none is worse than any stagger.
var none = score{worst: math.Inf(1)}

// mean is the mean prediction of the deviations under bed b. The slice is used
// again.
func (s *search) mean(b int, index []int) []float64 {
	if s.apart {
		for i, k := range index {
			s.level[i] = s.tables[b][i][k]
		}
	} else {
		for i, k := range index {
			s.at[i] = s.limits.grid[k]
		}
		s.beds[b].lessTarget(s.beds[b].model.Level(s.level, s.beds[b].setup, s.at))
	}
	return s.beds[b].deviations(s.level)
}

// score judges a stagger in the frozen clouds. Above the ceiling it says no more
// than that.
func (s *search) score(index []int, ceiling float64) score {
	out := score{height: sum(index)}
	ceiling += rounding
	for b, c := range s.clouds {
		out.worst = max(out.worst, c.worst(s.mean(b, index), ceiling))
		if out.worst > ceiling {
			return none
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

// freeze works out the clouds of one stagger, for comparisons near it.
func (s *search) freeze(index []int, pickups int) error {
	clouds, err := s.cloudsOf(s.limits.heights(index), pickups)
	s.clouds = clouds
	return err
}

// still is for comparing staggers by their mean predictions alone.
func (s *search) still() {
	s.clouds = nil
	for range s.beds {
		s.clouds = append(s.clouds, cloud{len(s.offset), make([]float64, len(s.offset))})
	}
}

// own is the score of a stagger in its own clouds, which stay.
func (s *search) own(index []int) (score, error) {
	if err := s.freeze(index, searched); err != nil {
		return none, err
	}
	return s.score(index, math.Inf(1)), nil
}

// best finds the least expected worst deviation: from common levels that all
// strings are brought near, the most promising is refined. Only when that leaves
// a string's mean prediction out of tolerance, and the least worst mean deviation
// does not, the latter is taken.
func (s *search) best() ([]int, error) {
	starts := s.starts()
	best, err := s.refine(s.promising(starts))
	if err != nil {
		return nil, err
	}
	if s.within(best) {
		return best, nil
	}
	s.still()
	for _, start := range starts {
		if at, got := s.descend(start); got.worst <= s.order.Tolerance+rounding {
			return at, nil
		}
	}
	return best, nil
}

// within reports whether no string's mean prediction is out of tolerance.
func (s *search) within(index []int) bool {
	for b := range s.beds {
		if d := s.mean(b, index); max(slices.Max(d), -slices.Min(d)) > s.order.Tolerance+rounding {
			return false
		}
	}
	return true
}

// starts lists the staggers that bring every string as near as it comes to a
// common level, from the lowest to the highest there is.
func (s *search) starts() [][]int {
	t := s.middle()
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, row := range t {
		lo, hi = min(lo, slices.Min(row)), max(hi, slices.Max(row))
	}
	var list [][]int
	for c := range levelsSeen {
		level := lo + (hi-lo)*(float64(c)+0.5)/levelsSeen
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

// middle is one table for all beds: half-way between the loudest and the
// softest, where each bed's mean level is brought to the same.
func (s *search) middle() [][]float64 {
	means := make([]float64, len(s.tables))
	for b, t := range s.tables {
		for _, row := range t {
			means[b] += stat.Mean(row, nil) / float64(len(t))
		}
	}
	out := make([][]float64, len(s.offset))
	for i := range out {
		out[i] = make([]float64, s.limits.room[i])
		for k := range out[i] {
			lo, hi := math.Inf(1), math.Inf(-1)
			for b, t := range s.tables {
				lo, hi = min(lo, t[i][k]-means[b]), max(hi, t[i][k]-means[b])
			}
			out[i][k] = (lo + hi) / 2
		}
	}
	return out
}

// nearestTo is the index of the value that is nearest to x, of equals the first.
func nearestTo(x float64, list []float64) int {
	best := 0
	for k, v := range list {
		if math.Abs(v-x) < math.Abs(list[best]-x)-rounding {
			best = k
		}
	}
	return best
}

// promising returns the stagger to refine. Of the starts whose mean predictions
// are not far from the best there are, some, spread over the levels, go down as
// far as a few simulated pickups lead them: the best then, in its own clouds.
func (s *search) promising(starts [][]int) []int {
	const nearly = 0.6 // dB
	s.still()
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
	best, bestScore := near[0], none
	for _, index := range evenly(near, begun) {
		if s.freeze(index, sketched) != nil {
			continue // to refine what cannot be judged says why
		}
		index, _ = s.descend(index)
		if got, err := s.own(index); err == nil && got.less(bestScore) {
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

// refine descends in the clouds of where it stands, again where that has led,
// until it stays.
func (s *search) refine(index []int) ([]int, error) {
	const rounds = 4
	best, least := index, none
	for range rounds {
		got, err := s.own(index)
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

// descend takes small moves as long as one helps in the frozen clouds: one
// string by a few steps, two strings by one step each, or all by one step.
func (s *search) descend(index []int) ([]int, score) {
	at := slices.Clone(index)
	best := s.score(at, math.Inf(1))
	for helped := true; helped; {
		helped = s.shift(at, &best, -1) || s.shift(at, &best, 1)
		for a := range at {
			for by := 1; by <= window; by++ {
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
	at[a], at[b] = k, l
	if got := s.score(at, best.worst); got.less(*best) {
		*best = got
		return true
	}
	at[b], at[a] = wasB, wasA
	return false
}
