package plan

import (
	"math"
	"slices"
)

// alike is the difference in the expected worst deviation, dB, below which two
// staggers serve equally: no bench can tell them apart.
const alike = 0.02

// simplest returns the simplest stagger that serves as well as the best one,
// and the dB that it gives away: flat tops, else heights that are merged, two
// neighbours at a time, as long as that serves. It takes no string's mean
// prediction out of tolerance.
func (s *search) simplest(best, flat []int) ([]int, float64, error) {
	flatScore, err := s.own(flat)
	if err != nil {
		return nil, 0, err
	}
	least, err := s.own(best)
	if err != nil {
		return nil, 0, err
	}
	if flatScore.worst <= least.worst+alike && (s.within(flat) || !s.within(best)) {
		return flat, max(0, flatScore.worst-least.worst), nil
	}
	at, cost := best, 0.0
	for {
		next := s.merged(at, least.worst+alike)
		if next == nil || s.within(at) && !s.within(next) {
			return at, cost, nil
		}
		at, cost = next, max(0, s.score(next, math.Inf(1)).worst-least.worst)
	}
}

// merged puts two neighbouring heights of a stagger at one, wherever that
// serves best; nil when nothing serves within the ceiling.
func (s *search) merged(index []int, ceiling float64) []int {
	heights := slices.Clone(index)
	slices.Sort(heights)
	heights = slices.Compact(heights)
	var best []int
	least := none
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
