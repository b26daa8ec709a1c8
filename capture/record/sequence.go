package record

import (
	"cmp"
	"slices"
)

// sequence is what a record has of a power-up's sequence numbers.
type sequence struct {
	spans  []span
	newest uint64 // unwrapped
}

// A span is a run of sequence numbers without gaps, unwrapped, with the rows of
// its ends.
type span struct {
	from, to    uint64
	first, last place
}

type place struct {
	file string
	line int
}

// unwrapped continues sequence numbers beyond 2^32, from the newest on.
func (s *sequence) unwrapped(seq uint32) uint64 {
	if len(s.spans) == 0 {
		return 1<<32 + uint64(seq)
	}
	return s.newest + uint64(int64(int32(seq-uint32(s.newest))))
}

// find returns the first span that does not end before n.
func (s *sequence) find(n uint64) (i int, in bool) {
	i, _ = slices.BinarySearchFunc(s.spans, n, func(a span, n uint64) int { return cmp.Compare(a.to, n) })
	return i, i < len(s.spans) && s.spans[i].from <= n
}

// add puts a number in; false when it was in.
func (s *sequence) add(seq uint32, at place) bool {
	n := s.unwrapped(seq)
	i, in := s.find(n)
	if in {
		return false
	}
	s.newest = max(s.newest, n)
	s.spans = slices.Insert(s.spans, i, span{n, n, at, at})
	s.join(i)
	s.join(i - 1)
	return true
}

// join makes one span of two that touch.
func (s *sequence) join(i int) {
	if i < 0 || i+1 >= len(s.spans) || s.spans[i].to+1 != s.spans[i+1].from {
		return
	}
	s.spans[i].to, s.spans[i].last = s.spans[i+1].to, s.spans[i+1].last
	s.spans = slices.Delete(s.spans, i+1, i+2)
}
