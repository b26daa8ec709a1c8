package screen

import (
	"fmt"
	"slices"
	"strings"

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
	seen := map[string]bool{s.setKey(m): true}
	for _, o := range s.mountings {
		key := s.setKey(o)
		name := s.cells[o[0]].Set
		if seen[key] || name != "" && name == s.cells[m[0]].Set || s.anyImpossible(o) {
			continue
		}
		seen[key] = true
		corrected := s.underSetOf(m, o)
		if corrected == nil || anyBecomesImpossible(corrected) {
			continue
		}
		h := &hypothesis{
			kind: WrongSet, columns: []string{"string_set", "core_mm", "gauge_mm", "wrap"}, corrected: corrected, prior: oftenSet,
			cause: fmt.Sprintf("filed under %s: were the strings %s?", s.setName(m), s.setName(o)),
		}
		if s.anyImpossible(m) {
			h.prior = 0
		}
		out = append(out, h)
	}
	return out
}

// underSetOf is a mounting as filed under the string set of another; nil where the
// strings are not the same.
func (s *screener) underSetOf(m, o mounting) map[int]cell.Cell {
	if len(o) != len(m) {
		return nil
	}
	corrected := map[int]cell.Cell{}
	for _, i := range m {
		k := slices.IndexFunc(o, func(k int) bool { return s.cells[k].String == s.cells[i].String })
		if k < 0 {
			return nil
		}
		c, from := s.cells[i], &s.cells[o[k]]
		c.Set, c.Core, c.Gauge, c.Wrap = from.Set, from.Core, from.Gauge, from.Wrap
		corrected[i] = c
	}
	return corrected
}

// setKey tells string sets apart.
func (s *screener) setKey(m mounting) string {
	var b strings.Builder
	for _, i := range m {
		c := &s.cells[i]
		fmt.Fprintf(&b, "%d %s %g %g %s\n", c.String, c.Set, c.Core, c.Gauge, c.Wrap)
	}
	return b.String()
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
	filedAs := s.cells[m[0]].Pickup
	filed := s.listed(m, nil, poleLength)
	// A whole file that was used again has the heights of the pickup that it names.
	differ, _ := s.poleDifferences(m, nil, max(sameHeight, s.habits.poles.within))
	seen := map[string]bool{}
	var out []*hypothesis
	for _, o := range s.mountings {
		renamed, whole := s.underPickupOf(m, o)
		if renamed == nil {
			continue
		}
		p, prior := s.cells[o[0]].Pickup, 0.0
		if s.habits.mountsOnce && s.mountedTwice(m, renamed) {
			prior = -seldomTwice
		}
		if !seen[p] && !anyBecomesImpossible(renamed) {
			seen[p] = true
			out = append(out, &hypothesis{kind: PickupMixedUp, columns: []string{"pickup"}, corrected: renamed, prior: prior,
				cause: fmt.Sprintf("filed as %q: was it %q?", filedAs, p)})
		}
		heights := s.listed(m, whole, poleLength)
		if seen[p+heights] || differ > 0 || heights == filed || anyBecomesImpossible(whole) {
			continue
		}
		seen[p+heights] = true
		out = append(out, &hypothesis{kind: PickupMixedUp, columns: []string{"pickup", "batch", "pole_height_mm"}, corrected: whole, prior: prior,
			cause: fmt.Sprintf("filed as %q with its pole heights %s mm: was it %q, whose are %s?", filedAs, filed, p, heights)})
	}
	return out
}

// underPickupOf is a mounting as filed under the pickup of another: renamed with the
// mounting's own pole heights, whole with those of the other. Both are nil where the
// strings are not the same.
func (s *screener) underPickupOf(m, o mounting) (renamed, whole map[int]cell.Cell) {
	p := s.cells[o[0]].Pickup
	if p == s.cells[m[0]].Pickup || len(o) != len(m) || s.anyImpossible(o) {
		return nil, nil
	}
	renamed, whole = map[int]cell.Cell{}, map[int]cell.Cell{}
	for x, i := range m {
		c, from := s.cells[i], &s.cells[o[x]]
		if c.String != from.String {
			return nil, nil
		}
		c.Pickup, c.Field, c.FieldKnown = p, from.Field, from.FieldKnown
		renamed[i] = c
		c.Batch, c.PoleHeight = from.Batch, from.PoleHeight
		whole[i] = c
	}
	return renamed, whole
}
