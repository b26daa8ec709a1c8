package cell

import "slices"

// ids numbers values in the order in which they come.
type ids[T comparable] struct {
	list []T
	at   map[T]int32
	last int32 // the value that came last, as it mostly comes again
}

// of is the number of a value.
func (s *ids[T]) of(x T) int32 {
	if len(s.list) > 0 && s.list[s.last] == x {
		return s.last
	}
	at, ok := s.at[x]
	if !ok {
		if s.at == nil {
			s.at = map[T]int32{}
		}
		at = int32(len(s.list))
		s.list, s.at[x] = append(s.list, x), at
	}
	s.last = at
	return at
}

// ranks is the place of each value in some order; equal ones have the same.
func (s *ids[T]) ranks(compare func(a, b T) int) []int32 {
	order := make([]int32, len(s.list))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(i, k int32) int { return compare(s.list[i], s.list[k]) })
	rank := make([]int32, len(order))
	for n, i := range order {
		switch {
		case n == 0:
		case compare(s.list[order[n-1]], s.list[i]) == 0:
			rank[i] = rank[order[n-1]]
		default:
			rank[i] = int32(n)
		}
	}
	return rank
}
