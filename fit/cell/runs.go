package cell

import (
	"slices"
	"sort"
)

// runs is a set of sequence numbers, as runs without gaps in rising order.
// Readings come numbered one by one, so that there are few runs.
type runs []run

type run struct{ first, last uint32 }

// add puts a number in; false when it was in.
func (s *runs) add(n uint32) bool {
	r := *s
	i := sort.Search(len(r), func(i int) bool { return r[i].last >= n })
	if i < len(r) && r[i].first <= n {
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
