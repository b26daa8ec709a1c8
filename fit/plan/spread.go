package plan

import (
	"cmp"
	"iter"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// entry is one height of one string in a table of levels.
type entry struct {
	value  float64 // dB
	string int
	index  int // of the height
}

// leastSpread picks one value from each list so that the highest and the
// lowest of them are as close as can be; of equals the picks with the least
// sum of squares about their mean, then those with the lowest indices. The
// lists need no order.
//
// The least spread is exact: all values in one ascending line, and the
// narrowest stretch of it that holds one of every list is found by moving its
// two ends forward only.
func leastSpread(lists [][]float64) []int {
	line := ascending(lists)
	width := math.Inf(1)
	for lo, hi := range stretches(line, len(lists)) {
		width = min(width, line[hi].value-line[lo].value)
	}
	var best []int
	var bestScore score
	for lo, hi := range stretches(line, len(lists)) {
		if same(line[hi].value-line[lo].value, width) {
			pick, s := centred(lists, withEquals(line, lo, hi))
			if best == nil || s.less(bestScore) {
				best, bestScore = pick, s
			}
		}
	}
	return best
}

// ascending puts all values in one line. They are rounded far below what
// matters, so that heights which make no difference are equal.
func ascending(lists [][]float64) []entry {
	var line []entry
	for i, list := range lists {
		for k, v := range list {
			line = append(line, entry{math.Round(v/rounding) * rounding, i, k})
		}
	}
	slices.SortFunc(line, func(a, b entry) int {
		return cmp.Or(cmp.Compare(a.value, b.value), a.string-b.string, a.index-b.index)
	})
	return line
}

// stretches yields, for each end, the shortest stretch of the line up to it
// that holds an entry of each of n lists, as first and last index.
func stretches(line []entry, n int) iter.Seq2[int, int] {
	return func(yield func(lo, hi int) bool) {
		held, missing, lo := make([]int, n), n, 0
		for hi, e := range line {
			if held[e.string]++; held[e.string] == 1 {
				missing--
			}
			for held[line[lo].string] > 1 {
				held[line[lo].string]--
				lo++
			}
			if missing == 0 && !yield(lo, hi) {
				return
			}
		}
	}
}

// withEquals is the stretch from lo to hi with what equals its ends.
func withEquals(line []entry, lo, hi int) []entry {
	for lo > 0 && line[lo-1].value == line[lo].value {
		lo--
	}
	for hi+1 < len(line) && line[hi+1].value == line[hi].value {
		hi++
	}
	return line[lo : hi+1]
}

// centred picks one entry of each list from a stretch of the line so that
// they lie closest together by their sum of squares. The picks that are nearest
// to some centre contain the best ones, and they change only where a centre
// passes the middle between two neighbours of one list.
func centred(lists [][]float64, stretch []entry) ([]int, score) {
	values := make([]float64, len(lists))
	pick := make([]int, len(lists))
	var best []int
	var bestScore score
	for _, c := range centres(len(lists), stretch) {
		nearestTo(c, stretch, pick, values)
		if s := scoreOf(values, pick, 0, math.Inf(1)); best == nil || s.less(bestScore) {
			best, bestScore = slices.Clone(pick), s
		}
	}
	return best, bestScore
}

// centres lists one centre for each set of nearest entries: below, between
// and above the middles of neighbours of one list.
func centres(n int, stretch []entry) []float64 {
	last := make([]*entry, n)
	var middles []float64
	for i := range stretch {
		e := &stretch[i]
		if prev := last[e.string]; prev != nil {
			middles = append(middles, (prev.value+e.value)/2)
		}
		last[e.string] = e
	}
	slices.Sort(middles)
	c := []float64{stretch[0].value, stretch[len(stretch)-1].value}
	for i := 1; i < len(middles); i++ {
		c = append(c, (middles[i-1]+middles[i])/2)
	}
	return c
}

// nearestTo fills in the entry of each list that is nearest to c, of equals
// the lower index.
func nearestTo(c float64, stretch []entry, pick []int, values []float64) {
	for i := range values {
		values[i] = math.Inf(1)
	}
	for _, e := range stretch {
		was, is := math.Abs(values[e.string]-c), math.Abs(e.value-c)
		if is < was || is == was && e.index < pick[e.string] {
			values[e.string], pick[e.string] = e.value, e.index
		}
	}
}

// score orders staggers, the better first: by what comes first in it.
type score struct {
	excess  float64 // dB by which the worst deviation is out of tolerance
	spread  float64 // dB
	scatter float64 // dB², sum of squares about the mean
	height  int     // sum of the grid indices
}

// scoreOf judges values, in dB of level less target, and the indices behind
// them. A string's deviation is its value less their mean, less the mean
// offset.
func scoreOf(values []float64, index []int, offset, tolerance float64) score {
	mean := stat.Mean(values, nil)
	var s score
	for i, v := range values {
		s.scatter += (v - mean) * (v - mean)
		s.excess = max(s.excess, math.Abs(v-mean-offset)-tolerance)
		s.height += index[i]
	}
	s.spread = slices.Max(values) - slices.Min(values)
	return s
}

// less reports whether s is better than t.
func (s score) less(t score) bool {
	switch {
	case !same(s.excess, t.excess):
		return s.excess < t.excess
	case !same(s.spread, t.spread):
		return s.spread < t.spread
	case !same(s.scatter, t.scatter):
		return s.scatter < t.scatter
	}
	return s.height < t.height
}

// rounding is the difference, in dB, below which two figures are the same.
const rounding = 1e-9

// same reports whether two figures in dB differ by rounding only.
func same(a, b float64) bool { return math.Abs(a-b) < rounding }
