package plan

import "slices"

// flat finds the common height that serves best. An expected worst deviation
// follows the height smoothly, so that a coarse look is enough to know where to
// look closely.
func (s *search) flat() ([]int, error) {
	const coarse = 4
	common, best, least := len(s.limits.common()), 0, none
	look := func(k int) error {
		got, err := s.own(s.levelTops(k))
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
func (s *search) levelTops(k int) []int { return slices.Repeat([]int{k}, len(s.offset)) }
