package cell

import (
	"hash/maphash"
	"slices"
)

// ids numbers values in the order in which they come. It holds each of them once, where a
// map would hold them a second time.
type ids[T comparable] struct {
	list  []T
	last  int32   // the value that came last, as it mostly comes again
	slots []int32 // by hash: 1 + a value's number, or 0; as many as a power of two, half of them 0
}

var idSeed = maphash.MakeSeed()

// of is the number of a value.
func (s *ids[T]) of(x T) int32 {
	if len(s.list) > 0 && s.list[s.last] == x {
		return s.last
	}
	if 2*len(s.list) >= len(s.slots) {
		s.spread()
	}
	slot := s.slot(x)
	if s.slots[slot] == 0 {
		s.list = append(s.list, x)
		s.slots[slot] = int32(len(s.list))
	}
	s.last = s.slots[slot] - 1
	return s.last
}

// slot is where the number of a value stands, or where it belongs.
func (s *ids[T]) slot(x T) int {
	mask := len(s.slots) - 1
	at := int(maphash.Comparable(idSeed, x)) & mask
	for s.slots[at] != 0 && s.list[s.slots[at]-1] != x {
		at = (at + 1) & mask
	}
	return at
}

// spread makes room for as many values again.
func (s *ids[T]) spread() {
	s.slots = make([]int32, max(16, 4*len(s.list)))
	for i, x := range s.list {
		s.slots[s.slot(x)] = int32(i + 1)
	}
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
