package screen

import (
	"math"
	"slices"

	"evenpole/fit/cell"
)

const (
	usualRange = 2.5 // mm, of heights
	repeats    = 0.8 // share of the heights that a shop repeats, for it to be a habit
	mostDiffer = 3   // strings of a list that count: a list that is another altogether is one event
	mostLists  = 30  // lists to compare with
)

// learnHabits finds the shop's habits.
func (s *screener) learnHabits() habits {
	var h habits
	h.poles = s.habitOf(func(m mounting, within float64) (int, int) { return s.poleDifferences(m, nil, within) })
	h.heights = s.habitOf(func(m mounting, within float64) (int, int) { return s.heightDifferences(m, nil, within) })
	h.batch = s.habitOf(func(m mounting, _ float64) (int, int) { return s.batchDifferences(m, nil) })
	twice, _ := s.count(func(m mounting) (int, int) {
		if s.mountedTwice(m, s.cells[m[0]].Pickup) {
			return 1, 1
		}
		return 0, 1
	})
	h.mountsOnce = float64(twice) <= (1-repeats)*float64(len(s.mountings))
	return h
}

// usualDigits is how many decimals most lengths of a column have.
func (s *screener) usualDigits(l *lengthColumn) int {
	known := map[float64]int{}
	var having []int // lengths with so many decimals
	for _, c := range s.filed {
		v := l.get(c)
		n, ok := known[v]
		if !ok {
			n = decimals(v)
			known[v] = n
		}
		for len(having) <= n {
			having = append(having, 0)
		}
		having[n]++
	}
	below := int(repeats * float64(len(s.filed)-1))
	for n, count := range having {
		if below -= count; below < 0 {
			return n
		}
	}
	return 0
}

// differences counts the values of a mounting's list that differ by more than within
// from the list that they ought to repeat, and all that were compared.
type differences func(m mounting, within float64) (differ, of int)

// habitOf finds out whether a shop types a list from another one, or measures it anew.
func (s *screener) habitOf(count differences) habit {
	for _, way := range []struct{ learn, within float64 }{{sameDigits, sameHeight}, {sameMeasured, sameMeasured}} {
		differ, all := s.count(func(m mounting) (int, int) { return count(m, way.learn) })
		if all > 0 && float64(differ) <= (1-repeats)*float64(all) {
			coincidence := 2 * way.within / usualRange // chance that a height put right falls on the list
			return habit{-math.Log(coincidence * float64(differ+1) / float64(all+1)), way.within}
		}
	}
	return habit{}
}

// count adds up what is counted of each mounting.
func (s *screener) count(each func(mounting) (n, of int)) (n, of int) {
	var parts [mostChunks][2]int
	inChunks(len(s.mountings), func(chunk, from, to int) {
		for _, m := range s.mountings[from:to] {
			n, of := each(m)
			parts[chunk][0] += n
			parts[chunk][1] += of
		}
	})
	for _, part := range parts {
		n, of = n+part[0], of+part[1]
	}
	return n, of
}

// listEvidence is ln of how likely a mounting's lists are by the shop's habits, some
// cells corrected: 0 when they repeat others, less for every value that differs.
func (s *screener) listEvidence(m mounting, corrected map[int]*cell.Cell) float64 {
	var sum float64
	if h := s.habits.poles; h.cost > 0 {
		n, _ := s.poleDifferences(m, corrected, h.within)
		sum -= h.cost * float64(min(n, mostDiffer))
	}
	if h := s.habits.heights; h.cost > 0 {
		n, _ := s.heightDifferences(m, corrected, h.within)
		sum -= h.cost * float64(min(n, mostDiffer))
	}
	n, _ := s.batchDifferences(m, corrected)
	return sum - s.habits.batch.cost*float64(n)
}

// poleDifferences counts the pole heights of a mounting that differ from those of the
// pickup's other mounting that is most like it; of 0 heights when there is none.
func (s *screener) poleDifferences(m mounting, corrected map[int]*cell.Cell, within float64) (differ, of int) {
	return s.leastDifferences(m, corrected, within, poleLength, s.lists.byPickup[s.cellAt(m[0], corrected).Pickup])
}

// heightDifferences does the same for string heights, among all mountings.
func (s *screener) heightDifferences(m mounting, corrected map[int]*cell.Cell, within float64) (differ, of int) {
	return s.leastDifferences(m, corrected, within, heightLength, s.lists.byShape[s.shapeOf(m)])
}

// leastDifferences compares a list of lengths with those of the mountings of as many
// strings that are to be compared, and counts the differences from the most similar.
func (s *screener) leastDifferences(m mounting, corrected map[int]*cell.Cell, within float64, l *lengthColumn, compared []int) (differ, of int) {
	differ = len(m) + 1
	own, column := s.lists.listed(s, m, corrected, l)
	var room [16]float64
	scratch, shape := room[:0], s.lists.shapes[s.mountingOf(m)]
	lists := 0
	for _, k := range compared {
		o := s.mountings[k]
		if o[0] == m[0] || s.lists.shapes[k] != shape {
			continue
		}
		differ, of = min(differ, countDifferences(own, s.lists.lengths[column][k], within, l, scratch)), len(m)
		if lists++; differ == 0 || lists == mostLists {
			break
		}
	}
	if of == 0 {
		differ = 0
	}
	return differ, of
}

// countDifferences counts the strings whose lengths differ between two mountings; of
// string heights, those that differ from the median shift. It writes behind scratch.
func countDifferences(own, other []float64, within float64, l *lengthColumn, scratch []float64) int {
	shift := 0.0
	if l == heightLength {
		for x, v := range own {
			scratch = append(scratch, v-other[x])
		}
		slices.Sort(scratch)
		shift = scratch[len(scratch)/2]
	}
	n := 0
	for x, v := range own {
		if math.Abs(v-other[x]-shift) > within {
			n++
		}
	}
	return n
}

// mountedTwice reports whether a pickup has another mounting under the same strings at
// about the same height as one.
func (s *screener) mountedTwice(m mounting, pickup string) bool {
	c := s.cells[m[0]]
	return slices.ContainsFunc(s.lists.byPickup[pickup], func(k int) bool {
		o := s.mountings[k][0]
		d := s.cells[o]
		return o != m[0] && d.Core == c.Core && math.Abs(d.StringHeight-c.StringHeight) < 2*sameMeasured && d.Set == c.Set
	})
}

// batchDifferences counts 1 where a mounting's batch is that of no other mounting of its
// pickup; of 0 when there is none.
func (s *screener) batchDifferences(m mounting, corrected map[int]*cell.Cell) (differ, of int) {
	c := s.cellAt(m[0], corrected)
	for _, k := range s.lists.byPickup[c.Pickup] {
		o := s.mountings[k][0]
		if o == m[0] {
			continue
		}
		of, differ = 1, 1
		if s.cells[o].Batch == c.Batch {
			return 0, 1
		}
	}
	return differ, of
}
