package batch

import (
	"cmp"
	"math"
	"slices"
)

// slopes are those between all pairs of values in their order: (x[j] - x[i]) / (j - i)
// for i < j. Of many values they are too many to be looked at, but how many are below a
// slope s is quickly counted: as many as pairs that stand the wrong way round by
// x[k] - s k. So a rank is closed in between two slopes with few others between them,
// and those alone are worked out (R. Cole, J. S. Salowe, W. L. Steiger, E. Szemerédi, An
// optimal-time algorithm for slope selection, SIAM J. Comput. 18, 792, 1989, and the
// simpler ones since, from memory).
type slopes struct {
	values    []float64
	largest   float64 // of the values, by size
	fallen    int     // pairs of which the later value is the lower one
	same      int     // pairs of equal values
	key, room []float64

	from, to slopeAt   // between which slopes were worked out
	near     []float64 // these, in order
}

// slopeAt is a slope with how many others come before it.
type slopeAt struct {
	slope  float64
	before int
	same   bool // those that equal it are among them
}

func newSlopes(values []float64) *slopes {
	n := len(values)
	s := &slopes{values: values, key: make([]float64, n), room: make([]float64, n)}
	for _, x := range values {
		s.largest = max(s.largest, math.Abs(x))
	}
	s.fallen = s.at(0).before
	for _, n := range ties(values) {
		s.same += n * (n - 1) / 2
	}
	return s
}

func (s *slopes) pairs() int { return len(s.values) * (len(s.values) - 1) / 2 }

// score is Kendall's: pairs that rise less those that fall.
func (s *slopes) score() int { return s.pairs() - s.same - 2*s.fallen }

// median is the median slope.
func (s *slopes) median() float64 {
	n := s.pairs()
	return (s.ranked((n-1)/2) + s.ranked(n/2)) / 2
}

// ranked is the slope of a rank, from 0.
func (s *slopes) ranked(rank int) float64 {
	if s.fallen <= rank && rank < s.fallen+s.same {
		return 0
	}
	if x, ok := s.worked(rank); ok {
		return x
	}
	s.workOut(s.closeIn(rank))
	if x, ok := s.worked(rank); ok {
		return x
	}
	return (s.from.slope + s.to.slope) / 2 // which no digit tells from it
}

// worked is the slope of a rank among those that were worked out. Those at the ends may
// be on the wrong side of them, by rounding.
func (s *slopes) worked(rank int) (slope float64, ok bool) {
	i := rank - s.from.before
	if i < 0 || i >= len(s.near) {
		return 0, false
	}
	x := s.near[i]
	return x, s.from.slope+s.rounding(s.from.slope) < x && x < s.to.slope-s.rounding(s.to.slope)
}

// rounding is by how much slopes may be off that are compared with one by x[k] - s k.
func (s *slopes) rounding(slope float64) float64 {
	if slope == 0 {
		return 0
	}
	return 4 * 0x1p-52 * (s.largest + math.Abs(slope)*float64(len(s.values)))
}

// fewPairs is how many slopes are worked out at once at least.
const fewPairs = 1 << 17

// closeIn finds two slopes round that of a rank that have few others between them, but
// for those that rounding does not tell apart.
func (s *slopes) closeIn(rank int) (low, high slopeAt) {
	low, high = s.bracket(rank)
	margin := 2 * len(s.values)
	for high.before-low.before > max(fewPairs, 4*margin) && high.slope-low.slope > 8*(s.rounding(low.slope)+s.rounding(high.slope)) {
		between := high.before - low.before
		start, each := low, (high.slope-low.slope)/float64(between)
		for _, r := range []int{rank - margin, rank + margin} {
			low, high = s.narrower(low, high, start.slope+each*float64(r-start.before), rank)
		}
		if high.before-low.before > between/4 {
			low, high = s.narrower(low, high, low.slope+(high.slope-low.slope)/2, rank)
		}
	}
	return low, high
}

// narrower puts a slope in the place of the one or other of two, so that a rank stays
// between them.
func (s *slopes) narrower(low, high slopeAt, x float64, rank int) (slopeAt, slopeAt) {
	if !(low.slope < x && x < high.slope) {
		return low, high
	}
	at := s.at(x)
	if at.before > rank {
		return low, at
	}
	return at, high
}

// bracket finds two slopes, of which one is 0, that a rank is well between.
func (s *slopes) bracket(rank int) (low, high slopeAt) {
	step := 2 * s.largest / float64(len(s.values))
	if rank < s.fallen {
		for low = s.at(-step); low.before > rank; low = s.at(-step) {
			step *= 4
		}
		return s.at(-4 * step), slopeAt{0, s.fallen, false}
	}
	for high = s.at(step); high.before <= rank; high = s.at(step) {
		step *= 4
	}
	return slopeAt{0, s.fallen + s.same, true}, s.at(4 * step)
}

// at counts the slopes that are below one.
func (s *slopes) at(slope float64) slopeAt {
	for k, x := range s.values {
		s.key[k] = x - slope*float64(k)
	}
	return slopeAt{slope, fallenPairs(s.key, s.room), false}
}

// fallenPairs sorts keys, and counts the pairs of which the later one was the lower.
func fallenPairs(keys, room []float64) (fallen int) {
	const few = 12
	if len(keys) <= few {
		for j, x := range keys {
			i := j
			for ; i > 0 && keys[i-1] > x; i-- {
				keys[i] = keys[i-1]
			}
			keys[i] = x
			fallen += j - i
		}
		return fallen
	}
	half := len(keys) / 2
	fallen = fallenPairs(keys[:half], room) + fallenPairs(keys[half:], room)
	left, right := room[:half], keys[half:]
	copy(left, keys)
	for at := 0; len(left) > 0; at++ {
		if len(right) > 0 && right[0] < left[0] {
			fallen += len(left)
			keys[at], right = right[0], right[1:]
		} else {
			keys[at], left = left[0], left[1:]
		}
	}
	return fallen
}

// workOut works out the slopes between two: those of pairs whose order by x[k] - s k is
// another at the one than at the other, which sorting by exchange of neighbours meets.
// It leaves them where rounding does not tell so many apart.
func (s *slopes) workOut(low, high slopeAt) {
	s.from, s.to, s.near = low, high, s.near[:0]
	if high.before-low.before > max(fewPairs, 64*len(s.values)) {
		return
	}
	key := func(slope float64, k int) float64 { return s.values[k] - slope*float64(k) }
	order := make([]int, len(s.values))
	for k := range order {
		order[k] = k
	}
	slices.SortFunc(order, func(a, b int) int {
		if byKey := cmp.Compare(key(low.slope, a), key(low.slope, b)); byKey != 0 {
			return byKey
		}
		if low.same {
			a, b = b, a
		}
		return cmp.Compare(a, b)
	})
	for j, b := range order {
		i := j
		for ; i > 0 && key(high.slope, order[i-1]) > key(high.slope, b); i-- {
			a := order[i-1]
			order[i] = a
			first, last := min(a, b), max(a, b)
			s.near = append(s.near, (s.values[last]-s.values[first])/float64(last-first))
		}
		order[i] = b
	}
	slices.Sort(s.near)
}

// ties is how many values are equal, for each of the values that there are.
func ties(values []float64) (counts []int) {
	sorted := slices.Sorted(slices.Values(values))
	for i := 0; i < len(sorted); {
		j := i
		for j < len(sorted) && sorted[j] == sorted[i] {
			j++
		}
		counts = append(counts, j-i)
		i = j
	}
	return counts
}
