package screen

import (
	"fmt"
	"math"
	"strconv"

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
func (s *screener) otherSets(m mounting) []*hypothesis {
	var out []*hypothesis
	own := s.setKey(m)
	for _, k := range s.lists.sets[s.lists.group(m)].mountings {
		o := s.mountings[k]
		if name := s.cells[o[0]].Set; name != "" && name == s.cells[m[0]].Set || s.setKey(o) == own {
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
		if s.becomesImpossible(h) {
			continue
		}
		if s.anyImpossible(m) {
			h.prior = 0
		}
		out = append(out, h)
	}
	return out
}

// setKey tells string sets apart.
func (s *screener) setKey(m mounting) string {
	b := make([]byte, 0, 256)
	for _, i := range m {
		c := s.cells[i]
		b = append(append(strconv.AppendInt(b, int64(c.String), 10), ' '), c.Set...)
		b = strconv.AppendUint(append(b, ' '), math.Float64bits(c.Core), 36)
		b = strconv.AppendUint(append(b, ' '), math.Float64bits(c.Gauge), 36)
		b = append(append(append(b, ' '), c.Wrap...), '\n')
	}
	return string(b)
}

// setName is what people call a mounting's string set.
func (s *screener) setName(m mounting) string {
	if name := s.cells[m[0]].Set; name != "" {
		return fmt.Sprintf("%q", name)
	}
	return "cores of " + s.listed(m, nil, steelLength) + " mm"
}

// otherPickups lists the pickups that the mounting may have held instead: with the pole
// heights that stand there, or, where the whole file of another mounting may have been
// used again, with those of that pickup's other mountings.
func (s *screener) otherPickups(m mounting) []*hypothesis {
	var out []*hypothesis
	for _, o := range s.others(m, math.MaxInt) {
		h := s.renamed(m, s.mountings[o.mounting])
		if o.whole {
			h = s.refiled(m, s.mountings[o.mounting])
		}
		if s.habits.mountsOnce && s.mountedTwice(m, s.cells[s.mountings[o.mounting][0]].Pickup) {
			h.prior = -seldomTwice
		}
		out = append(out, h)
	}
	return out
}

// other is a mounting of another pickup, of which the name or the whole file may have been
// meant.
type other struct {
	mounting int
	whole    bool
}

// others lists them, but those that would make cells that cannot be. It ends when there
// are more than most.
func (s *screener) others(m mounting, most int) []other {
	impossible := s.anyImpossible(m)
	// A whole file that was used again has the heights of the pickup that it names.
	differ, _ := s.poleDifferences(m, nil, max(sameHeight, s.habits.poles.within))
	as := make([]cell.Cell, len(m))
	for x, i := range m {
		as[x] = *s.cells[i]
	}
	var out []other
	for _, of := range s.lists.others[s.lists.group(m)] {
		if s.cells[s.mountings[of[0]][0]].Pickup == s.cells[m[0]].Pickup {
			continue
		}
		if !impossible { // a name makes nothing possible
			out = append(out, other{mounting: of[0]})
		}
		if differ != 0 {
			of = nil
		}
		for _, k := range of {
			if len(out) > most {
				return out
			}
			if !s.sameHeights(m, s.mountings[k]) && possibleWith(as, s.lists.lengths[0][k]) {
				out = append(out, other{k, true})
			}
		}
		if len(out) > most {
			return out
		}
	}
	return out
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

// renamed is the hypothesis that a mounting was one of the pickup of another.
func (s *screener) renamed(m, o mounting) *hypothesis {
	return &hypothesis{
		kind: PickupMixedUp, columns: []string{"pickup"}, touched: m, correct: func(x int, c *cell.Cell) { rename(c, s.cells[o[x]]) },
		words: func() string {
			return fmt.Sprintf("filed as %q: was it %q?", s.cells[m[0]].Pickup, s.cells[o[0]].Pickup)
		},
	}
}

// refiled is the hypothesis that it was, and had the pole heights of the other, too.
func (s *screener) refiled(m, o mounting) *hypothesis {
	return &hypothesis{
		kind: PickupMixedUp, columns: []string{"pickup", "batch", "pole_height_mm"}, touched: m,
		correct: func(x int, c *cell.Cell) {
			from := s.cells[o[x]]
			rename(c, from)
			c.Remount(func(m *cell.Mounting) { m.Batch = from.Batch })
			c.PoleHeight = from.PoleHeight
		},
		words: func() string {
			return fmt.Sprintf("filed as %q with its pole heights %s mm: was it %q, whose are %s?",
				s.cells[m[0]].Pickup, s.listed(m, nil, poleLength), s.cells[o[0]].Pickup, s.listed(o, nil, poleLength))
		},
	}
}

// rename makes a cell one of the pickup of another.
func rename(c, from *cell.Cell) {
	c.Remount(func(m *cell.Mounting) { m.Pickup = from.Pickup })
	c.Field, c.FieldKnown = from.Field, from.FieldKnown
}
