package plan

import (
	"math"
	"slices"
)

// equalWithin is the difference in the expected worst deviation, dB, below which
// two staggers count as equally good: no bench can measure it.
const equalWithin = 0.02

// simplest returns the simplest stagger that is as good as the best one, within
// equalWithin, and by how many dB it is worse: flat tops, or else the best one with
// its heights merged, two neighbours at a time. It takes no string's mean prediction
// out of tolerance.
func (s *search) simplest(best, flat []int) ([]int, float64, error) {
	flatScore, err := s.ownScore(flat)
	if err != nil {
		return nil, 0, err
	}
	least, err := s.ownScore(best)
	if err != nil {
		return nil, 0, err
	}
	if flatScore.worst <= least.worst+equalWithin && (s.within(flat) || !s.within(best)) {
		return flat, max(0, flatScore.worst-least.worst), nil
	}
	at, cost := best, 0.0
	for {
		if err := s.ctx.Err(); err != nil {
			return nil, 0, err
		}
		next := s.merged(at, least.worst+equalWithin)
		if next == nil || s.within(at) && !s.within(next) {
			return at, cost, nil
		}
		at, cost = next, max(0, s.score(next, math.Inf(1)).worst-least.worst)
	}
}

// merged sets the poles of two neighbouring heights of a stagger to one height,
// where that scores best; nil when nothing scores within the ceiling.
func (s *search) merged(index []int, ceiling float64) []int {
	heights := slices.Clone(index)
	slices.Sort(heights)
	heights = slices.Compact(heights)
	var best []int
	least := noScore
	for i := 1; i < len(heights); i++ {
		for k := heights[i-1]; k <= heights[i]; k++ {
			next := slices.Clone(index)
			for a := range next {
				if next[a] == heights[i-1] || next[a] == heights[i] {
					next[a] = min(k, s.limits.room[a]-1)
				}
			}
			if got := s.score(next, ceiling); got.less(least) && distinct(next) < len(heights) {
				best, least = next, got
			}
		}
	}
	return best
}

func distinct(index []int) int {
	sorted := slices.Clone(index)
	slices.Sort(sorted)
	return len(slices.Compact(sorted))
}

// flat finds the best common height. The expected worst deviation changes smoothly
// with the height, so that a coarse scan tells where to scan in single steps.
func (s *search) flat() ([]int, error) {
	const coarse = 4
	common, best, least := len(s.limits.common()), 0, noScore
	look := func(k int) error {
		got, err := s.ownScore(s.levelTops(k))
		if err == nil && got.less(least) {
			best, least = k, got
		}
		return err
	}
	step := 1
	if common > 2*coarse {
		step = coarse
	}
	for k := 0; k < common; k += step {
		if err := look(k); err != nil {
			return nil, err
		}
	}
	for k, last := max(0, best-step+1), min(common-1, best+step-1); k <= last; k++ {
		if err := look(k); err != nil {
			return nil, err
		}
	}
	return s.levelTops(best), nil
}

// levelTops is all poles at height k of the grid.
func (s *search) levelTops(k int) []int { return slices.Repeat([]int{k}, len(s.target)) }
