// Package numbers keeps sequence numbers of readings as runs without gaps: a [Set] that
// says whether a number was met (numbers.go), and a [Sequence] that also says in which
// rows of a record its runs begin and end, and goes on beyond 2^32 (sequence.go).
package numbers

import (
	"slices"
	"sort"

	"evenpole/capture/record/pack"
)

// Set is a set of sequence numbers, as runs without gaps in rising order.
// Readings come numbered one by one, so that there are few runs.
type Set []run

type run struct{ first, last uint32 }

// find returns the first run that does not end before n, and whether n is in it.
func (s Set) find(n uint32) (i int, in bool) {
	i = sort.Search(len(s), func(i int) bool { return s[i].last >= n })
	return i, i < len(s) && s[i].first <= n
}

// Has reports whether a number is in.
func (s Set) Has(n uint32) bool {
	_, in := s.find(n)
	return in
}

// Add puts a number in; false when it was in.
func (s *Set) Add(n uint32) bool {
	r := *s
	if k := len(r) - 1; k >= 0 && r[k].last < n && r[k].last+1 == n { // as they mostly come
		r[k].last = n
		return true
	}
	i, in := r.find(n)
	if in {
		return false
	}
	follows := i > 0 && r[i-1].last == n-1
	precedes := i < len(r) && r[i].first == n+1
	switch {
	case follows && precedes:
		r[i-1].last = r[i].last
		*s = slices.Delete(r, i, i+1)
	case follows:
		r[i-1].last = n
	case precedes:
		r[i].first = n
	default:
		*s = slices.Insert(r, i, run{n, n})
	}
	return true
}

// Pack writes the set, or reads it.
func (s *Set) Pack(c *pack.Coder) {
	pack.List(c, (*[]run)(s), func(r *run) {
		pack.Whole(c, &r.first)
		pack.Whole(c, &r.last)
		c.Check(r.first <= r.last)
	})
	for i := 1; i < len(*s); i++ {
		c.Check((*s)[i-1].last < (*s)[i].first)
	}
}
