package plan

import (
	"iter"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// decibel is the number of dB in one unit of ln v.
const decibel = 20 / math.Ln10

// search returns the heights in mm that the plan is to have.
func (j *job) search() ([]float64, error) {
	up, err := j.tables(false)
	if err != nil {
		return nil, err
	}
	across, err := j.tables(true)
	if err != nil {
		return nil, err
	}
	best := leastSpread(up)
	if !agree(up, across) {
		best = j.settled(up)
	}
	tolerance := j.order.Tolerance
	if j.score(best, tolerance).excess > 0 {
		if other := j.polish(best, tolerance); j.score(other, tolerance).excess == 0 {
			best = other
		}
	}
	return j.limits.heights(best), nil
}

// tables lists, by string, the level less target in dB at each of its heights,
// all strings going through their heights together: upwards, or every second
// one downwards. When both ways give the same, no string hears its neighbours'
// poles.
func (j *job) tables(across bool) ([][]float64, error) {
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
		v, err := j.levels(j.limits.heights(index))
		if err != nil {
			return nil, err
		}
		for i, w := range j.lessTarget(v) {
			t[i][index[i]] = w
		}
	}
	return t, nil
}

func agree(a, b [][]float64) bool {
	for i := range a {
		for k := range a[i] {
			if !same(a[i][k], b[i][k]) {
				return false
			}
		}
	}
	return true
}

// wanted is the predicted level less target of each string in dB; only the
// differences between strings matter.
func (j *job) wanted(index []int) []float64 {
	return j.lessTarget(j.model.Level(nil, j.setup, j.limits.heights(index)))
}

// lessTarget turns ln v, in place, into dB less the wanted offset.
func (j *job) lessTarget(v []float64) []float64 {
	for i := range v {
		v[i] = decibel*v[i] - j.offset[i]
	}
	return v
}

func (j *job) score(index []int, tolerance float64) score {
	return scoreOf(j.wanted(index), index, stat.Mean(j.offset, nil), tolerance)
}

// settled is for strings that hear their neighbours' poles: for levels from
// the lowest in the tables to the highest it brings every string as near as it
// comes, again with the neighbours where that put them, and polishes. It
// returns the best of these.
func (j *job) settled(tables [][]float64) []int {
	const levels, rounds = 24, 4
	line := ascending(tables)
	lo, hi := line[0].value, line[len(line)-1].value
	var best []int
	var bestScore score
	for c := range levels {
		level := lo + (hi-lo)*(float64(c)+0.5)/levels
		at := make([]int, len(tables))
		for range rounds {
			nearestTo(level, ascending(j.around(at)), at, make([]float64, len(at)))
		}
		at = j.polish(at, math.Inf(1))
		if s := j.score(at, math.Inf(1)); best == nil || s.less(bestScore) {
			best, bestScore = at, s
		}
	}
	return best
}

// around lists, by string, the level less target at each of its heights while
// all others stay at index.
func (j *job) around(index []int) [][]float64 {
	t := make([][]float64, len(index))
	at := slices.Clone(index)
	for i := range t {
		t[i] = make([]float64, j.limits.room[i])
		for k := range t[i] {
			at[i] = k
			t[i][k] = j.wanted(at)[i]
		}
		at[i] = index[i]
	}
	return t
}

// polish takes the best of all small moves until none helps.
func (j *job) polish(index []int, tolerance float64) []int {
	best, s := index, j.score(index, tolerance)
	for {
		from := best
		j.moves(from, func(next []int) {
			if t := j.score(next, tolerance); t.less(s) {
				best, s = slices.Clone(next), t
			}
		})
		if slices.Equal(best, from) {
			return best
		}
	}
}

// moves tries what a small move makes of index: one string to any of its
// heights, or two strings by up to two steps each. The slice is used again.
func (j *job) moves(index []int, try func([]int)) {
	at, room := slices.Clone(index), j.limits.room
	for a := range index {
		for at[a] = range room[a] {
			try(at)
		}
		for at[a] = range near(index[a], room[a]) {
			for b := range a {
				for at[b] = range near(index[b], room[b]) {
					try(at)
				}
				at[b] = index[b]
			}
		}
		at[a] = index[a]
	}
}

// near yields the indices below room up to two steps from k.
func near(k, room int) iter.Seq[int] {
	return func(yield func(int) bool) {
		for i := max(0, k-2); i <= min(k+2, room-1) && yield(i); i++ {
		}
	}
}
