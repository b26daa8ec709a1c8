package screen

import (
	"fmt"
	"math"

	"evenpole/fit/cell"
)

// Hypotheses on mountings that were filed under a wrong name.

// What speaks for or against some of them beforehand, as ln of how much likelier they
// are: our assumptions.
const (
	oftenSet    = 1 // a wrong string set is commoner than other mistakes
	seldomTwice = 3 // against a pickup mounted a second time in the same way, where the shop seldom does that
)

// otherSets lists the record's other string sets in place of the one filed.
func (s *screener) otherSets(b *baseline) []*hypothesis {
	m := b.mounting
	var out []*hypothesis
	b.key = s.appendSetKey(b.key[:0], m)
	sets := &s.lists.group(s, m).sets
	for x, k := range sets.mountings {
		o := s.mountings[k]
		if name := s.cells[o[0]].Set; name != "" && name == s.cells[m[0]].Set || sets.keys[x] == string(b.key) {
			continue
		}
		h := &hypothesis{
			kind: WrongSet, columns: []string{"string_set", "core_mm", "gauge_mm", "wrap"}, touched: m, prior: oftenSet,
			correct: func(x int, c *cell.Cell) {
				from := s.cells[o[x]]
				c.Remount(func(m *cell.Mounting) { m.Set = from.Set })
				c.Core, c.Gauge, c.Wrap = from.Core, from.Gauge, from.Wrap
			},
			words: func() string { return fmt.Sprintf("filed under %s: were the strings %s?", s.setName(m), s.setName(o)) },
		}
		if s.becomesImpossible(h, b) {
			continue
		}
		if s.anyImpossible(m) {
			h.prior = 0
		}
		out = append(out, h)
	}
	return out
}

// setName is what people call a mounting's string set.
func (s *screener) setName(m mounting) string {
	if name := s.cells[m[0]].Set; name != "" {
		return fmt.Sprintf("%q", name)
	}
	return "cores of " + s.listed(m, nil, steelLength) + " mm"
}

// otherPickups tries the pickups that the mounting may have held instead: with the pole
// heights that stand there, or, where the whole file of another mounting may have been
// used again, with those of that pickup's other mountings. It tries none where there are
// more than most.
func (s *screener) otherPickups(b *baseline, most int, try func(h *hypothesis) bool) {
	if len(s.lists.group(s, b.mounting).pickups)-1 > most {
		return
	}
	n := s.countOthers(b, most)
	if n == 0 || n > most {
		return
	}
	s.openToNames[s.mountingOf(b.mounting)] = true
	h, o := s.mixedUp(b)
	s.beginRough(b)
	var pickup, begun string
	var prior float64
	asked := anyPickup
	if b.namesOnly {
		asked = func(pickup string) bool { return s.again.others[pickup] }
	}
	s.eachOther(b, asked, func(of other) bool {
		name := s.cells[s.mountings[of.mounting][0]].Pickup
		if *o = of; name != pickup {
			pickup, prior = name, -math.Log(float64(n))
			if s.habits.mountsOnce && s.mountedTwice(b.mounting, name) {
				prior -= seldomTwice
			}
		}
		h.prior, h.columns, h.corrected = prior, renamedColumns, nil
		if of.whole {
			h.columns = refiledColumns
		}
		if of.whole && of.lists > fewLists {
			if begun != name {
				begun = name
				s.beginPickup(b, h, of.mounting, s.leastGain(h, b, math.Inf(-1)))
			}
			if s.excludes(b, of.mounting) {
				return true
			}
		}
		if try(h) {
			h, o = s.mixedUp(b) // that one is kept
		}
		return true
	})
}

// other is a mounting of another pickup, of which the name or the whole file may have been
// meant.
type other struct {
	mounting int
	whole    bool
	lists    int // of the pickup's pole heights
}

// countOthers counts them; there may be more where there are more than most.
func (s *screener) countOthers(b *baseline, most int) (n int) {
	m, group := b.mounting, s.lists.group(s, b.mounting)
	if differ, _ := s.poleDifferences(m, nil, max(sameHeight, s.habits.poles.within)); differ != 0 || s.anyImpossible(m) || !s.canHaveAll(b) {
		s.eachOther(b, anyPickup, func(other) bool { n++; return n <= most })
		return n
	}
	for _, of := range group.pickups {
		if s.cells[s.mountings[of[0]][0]].Pickup != b.pickup {
			n += 1 + len(of)
		}
	}
	own, _ := s.lists.listed(s, m, nil, poleLength)
	for _, k := range group.byFirst[shown(own[0])] {
		if s.cells[s.mountings[k][0]].Pickup != b.pickup && sameHeights(own, s.lists.lengths[0][k]) {
			n--
		}
	}
	return n
}

// canHaveAll reports whether there can be the mounting's cells with any pole heights that
// others have. It fills b.renamed.
func (s *screener) canHaveAll(b *baseline) bool {
	group := s.lists.group(s, b.mounting)
	b.renamed = b.renamed[:0]
	for _, i := range b.mounting {
		b.renamed = append(b.renamed, *s.cells[i])
	}
	return group.lowest != nil && possibleWith(b.renamed, group.lowest) && possibleWith(b.renamed, group.highest)
}

// anyPickup asks for all pickups.
func anyPickup(string) bool { return true }

// eachOther goes through those of the pickups that are asked for, but not those that would
// make cells that cannot be.
func (s *screener) eachOther(b *baseline, asked func(pickup string) bool, yield func(other) bool) {
	m, group := b.mounting, s.lists.group(s, b.mounting)
	impossible := s.anyImpossible(m)
	// A whole file that was used again has the heights of the pickup that it names.
	differ, _ := s.poleDifferences(m, nil, max(sameHeight, s.habits.poles.within))
	own, _ := s.lists.listed(s, m, nil, poleLength)
	always := s.canHaveAll(b)
	for _, of := range group.pickups {
		if pickup := s.cells[s.mountings[of[0]][0]].Pickup; pickup == b.pickup || !asked(pickup) {
			continue
		}
		if !impossible && !yield(other{mounting: of[0], lists: len(of)}) { // a name makes nothing possible
			return
		}
		if differ != 0 {
			continue
		}
		for _, k := range of {
			heights := s.lists.lengths[0][k]
			if !sameHeights(own, heights) && (always || possibleWith(b.renamed, heights)) && !yield(other{k, true, len(of)}) {
				return
			}
		}
	}
}

// possibleWith reports whether there can be cells with other pole heights.
func possibleWith(cells []cell.Cell, poles []float64) bool {
	for x := range cells {
		cells[x].PoleHeight = poles[x]
		if !cells[x].Possible() {
			return false
		}
	}
	return true
}

// The columns of a wrong name alone, and of a file that was used again.
var renamedColumns, refiledColumns = []string{"pickup"}, []string{"pickup", "batch", "pole_height_mm"}

// mixedUp is the hypothesis that a mounting was one of the pickup of another, and, where
// that is taken as a whole, had its pole heights and batch, too.
func (s *screener) mixedUp(b *baseline) (*hypothesis, *other) {
	m, of := b.mounting, &other{}
	h := &hypothesis{kind: PickupMixedUp, touched: m, cells: b.renamed}
	own := make([]cell.Mounting, len(m)) // of the cells: there are too many alternatives for Remount
	for x, i := range m {
		own[x] = *s.cells[i].Mounting
	}
	h.correct = func(x int, c *cell.Cell) {
		from, filed := s.cells[s.mountings[of.mounting][x]], s.cells[m[x]]
		heights := filed
		if of.whole {
			heights = from
		}
		if own[x].Pickup != from.Pickup || own[x].Batch != heights.Batch {
			own[x] = *filed.Mounting
			own[x].Pickup, own[x].Batch = from.Pickup, heights.Batch
		}
		c.Mounting, c.PoleHeight, c.Field, c.FieldKnown = &own[x], heights.PoleHeight, from.Field, from.FieldKnown
	}
	h.words = func() string {
		o := s.mountings[of.mounting]
		if !of.whole {
			return fmt.Sprintf("filed as %q: was it %q?", s.cells[m[0]].Pickup, s.cells[o[0]].Pickup)
		}
		return fmt.Sprintf("filed as %q with its pole heights %s mm: was it %q, whose are %s?",
			s.cells[m[0]].Pickup, s.listed(m, nil, poleLength), s.cells[o[0]].Pickup, s.listed(o, nil, poleLength))
	}
	return h, of
}
