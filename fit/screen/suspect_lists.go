package screen

import (
	"math"
	"slices"

	"evenpole/fit/cell"
)

// habits is how a shop fills in its lists of heights.
type habits struct {
	poles   habit           // the same pickup's heights from mount to mount
	heights habit           // the string heights of the bench, but for what all strings are higher by
	batch   habit           // the same pickup's batch
	digits  map[*length]int // decimals
	once    bool            // a pickup is seldom mounted twice in the same way
}

// habit is ln of what one height costs that differs by more than within from the
// list that it ought to repeat; 0 where the shop does not repeat it.
type habit struct{ cost, within float64 }

const (
	sameDigits   = 0.006 // mm, of two heights that were typed from one list
	sameHeight   = 0.03  // mm, of one height typed in two units
	sameMeasured = 0.15  // mm, of one height that was measured twice
	usualRange   = 2.5   // mm, of heights
	repeats      = 0.8   // share of the heights that a shop repeats, for it to be a habit
	mostDiffer   = 3     // strings of a list that count: a list that is another altogether is one event
	mostLists    = 30    // lists to compare with
)

// learn finds the shop's habits.
func (s *screener) learn() habits {
	h := habits{digits: map[*length]int{}}
	h.poles = s.habit(func(m mount, within float64) (int, int) { return s.poleMisses(m, nil, within) })
	h.heights = s.habit(func(m mount, within float64) (int, int) { return s.heightMisses(m, nil, within) })
	for _, l := range lengths {
		h.digits[l] = s.usualDigits(l)
	}
	h.batch = s.habit(func(m mount, _ float64) (int, int) { return s.batchMisses(m, nil) })
	twice := 0
	for _, m := range s.mounts {
		if s.twice(m, nil) {
			twice++
		}
	}
	h.once = float64(twice) <= (1-repeats)*float64(len(s.mounts))
	return h
}

// oddDigits is ln of how much likelier a height with more decimals than the shop
// types is one that was meant in a larger unit, or with the point further to the
// right: our assumption.
const oddDigits = 3

// usualDigits is how many decimals most lengths of a column have.
func (s *screener) usualDigits(l *length) int {
	var all []int
	for i := range s.filed {
		all = append(all, decimals(l.get(&s.filed[i])))
	}
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	return all[int(repeats*float64(len(all)-1))]
}

// odd reports whether a cell's length has more decimals than the shop types.
func (s *screener) odd(i int, l *length) bool {
	return decimals(l.get(&s.filed[i])) > s.habits.digits[l]
}

// habit tells whether lists are typed from one, or measured anew.
func (s *screener) habit(misses func(m mount, within float64) (missed, of int)) habit {
	for _, try := range []struct{ learn, within float64 }{{sameDigits, sameHeight}, {sameMeasured, sameMeasured}} {
		missed, all := 0, 0
		for _, m := range s.mounts {
			n, of := misses(m, try.learn)
			missed, all = missed+n, all+of
		}
		if all > 0 && float64(missed) <= (1-repeats)*float64(all) {
			coincidence := 2 * try.within / usualRange // of a height that is put right
			return habit{-math.Log(coincidence * float64(missed+1) / float64(all+1)), try.within}
		}
	}
	return habit{}
}

// agreement is ln of how well a mount's lists repeat those of others, cells as they
// would have been filed.
func (s *screener) agreement(m mount, now map[int]cell.Cell) float64 {
	var sum float64
	if h := s.habits.poles; h.cost > 0 {
		n, _ := s.poleMisses(m, now, h.within)
		sum -= h.cost * float64(min(n, mostDiffer))
	}
	if h := s.habits.heights; h.cost > 0 {
		n, _ := s.heightMisses(m, now, h.within)
		sum -= h.cost * float64(min(n, mostDiffer))
	}
	n, _ := s.batchMisses(m, now)
	return sum - s.habits.batch.cost*float64(n)
}

// at is a cell as it would have been filed.
func (s *screener) at(i int, now map[int]cell.Cell) *cell.Cell {
	if c, ok := now[i]; ok {
		return &c
	}
	return &s.cells[i]
}

// poleMisses counts the pole heights of a mount that differ from those of the
// pickup's other mount that is most like it; of 0 heights when there is none.
func (s *screener) poleMisses(m mount, now map[int]cell.Cell, within float64) (missed, of int) {
	p := s.at(m[0], now).Pickup
	return s.misses(m, now, within, func(o mount) bool { return s.cells[o[0]].Pickup == p }, poleLength, false)
}

// heightMisses does the same for string heights, among all mounts.
func (s *screener) heightMisses(m mount, now map[int]cell.Cell, within float64) (missed, of int) {
	return s.misses(m, now, within, func(mount) bool { return true }, heightLength, true)
}

// misses compares a list of lengths with the mounts that are like it.
func (s *screener) misses(m mount, now map[int]cell.Cell, within float64, like func(mount) bool, l *length, shift bool) (missed, of int) {
	missed = len(m) + 1
	lists := 0
	for _, o := range s.mounts {
		if o[0] == m[0] || len(o) != len(m) || !like(o) || s.cells[o[len(o)-1]].String != s.cells[m[len(m)-1]].String {
			continue
		}
		missed, of = min(missed, s.differ(m, o, now, within, l, shift)), len(m)
		if lists++; missed == 0 || lists == mostLists {
			break
		}
	}
	if of == 0 {
		missed = 0
	}
	return missed, of
}

// differ counts the strings whose lengths differ between two mounts, when shift is
// set but for what the most have.
func (s *screener) differ(m, o mount, now map[int]cell.Cell, within float64, l *length, shift bool) int {
	var d []float64
	for x, i := range m {
		d = append(d, l.get(s.at(i, now))-l.get(&s.cells[o[x]]))
	}
	zero := 0.0
	if shift {
		sorted := slices.Clone(d)
		slices.Sort(sorted)
		zero = sorted[len(sorted)/2]
	}
	n := 0
	for _, v := range d {
		if math.Abs(v-zero) > within {
			n++
		}
	}
	return n
}

// seldomTwice is ln of how much less likely it is that a pickup was mounted a second
// time under the same strings at the same height, when the shop seldom does: our
// assumption.
const seldomTwice = 3

// twice reports whether a mount's pickup has another under the same strings at
// about the same height.
func (s *screener) twice(m mount, now map[int]cell.Cell) bool {
	c := s.at(m[0], now)
	return slices.ContainsFunc(s.mounts, func(o mount) bool {
		d := &s.cells[o[0]]
		return o[0] != m[0] && d.Pickup == c.Pickup && d.Set == c.Set && d.Core == c.Core && math.Abs(d.StringHeight-c.StringHeight) < 2*sameMeasured
	})
}

// batchMisses tells whether a mount's batch is another than the rest of its pickup's.
func (s *screener) batchMisses(m mount, now map[int]cell.Cell) (missed, of int) {
	c := s.at(m[0], now)
	for _, o := range s.mounts {
		if o[0] == m[0] || s.cells[o[0]].Pickup != c.Pickup {
			continue
		}
		of, missed = 1, 1
		if s.cells[o[0]].Batch == c.Batch {
			return 0, 1
		}
	}
	return missed, of
}
