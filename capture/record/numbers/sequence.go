package numbers

import (
	"cmp"
	"slices"
)

// Sequence is what a record has of a power-up's sequence numbers.
type Sequence struct {
	Spans  []Span
	newest uint64 // unwrapped
}

// A span is a run of sequence numbers without gaps, unwrapped, with the rows of
// its ends.
type Span struct {
	From, To    uint64
	First, Last Place
}

// Place is a row of a file of the record.
type Place struct {
	File string
	Line int
}

// unwrapped continues sequence numbers beyond 2^32, from the newest on.
func (s *Sequence) unwrapped(seq uint32) uint64 {
	if len(s.Spans) == 0 {
		return 1<<32 + uint64(seq)
	}
	return s.newest + uint64(int64(int32(seq-uint32(s.newest))))
}

// find returns the first span that does not end before n.
func (s *Sequence) find(n uint64) (i int, in bool) {
	i, _ = slices.BinarySearchFunc(s.Spans, n, func(a Span, n uint64) int { return cmp.Compare(a.To, n) })
	return i, i < len(s.Spans) && s.Spans[i].From <= n
}

// Add puts a number in; false when it was in.
func (s *Sequence) Add(seq uint32, at Place) bool {
	n := s.unwrapped(seq)
	i, in := s.find(n)
	if in {
		return false
	}
	s.newest = max(s.newest, n)
	s.Spans = slices.Insert(s.Spans, i, Span{n, n, at, at})
	s.join(i)
	s.join(i - 1)
	return true
}

// join makes one span of two that touch.
func (s *Sequence) join(i int) {
	if i < 0 || i+1 >= len(s.Spans) || s.Spans[i].To+1 != s.Spans[i+1].From {
		return
	}
	s.Spans[i].To, s.Spans[i].Last = s.Spans[i+1].To, s.Spans[i+1].Last
	s.Spans = slices.Delete(s.Spans, i+1, i+2)
}
