package screen

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenpole/fit/cell"
)

// Hypotheses on lengths that were typed wrong.

// What speaks for some of them beforehand, as ln of how much likelier they are: our
// assumptions.
const (
	extraDigits = 3 // a length with more decimals than the shop types was meant in a larger unit, or with the point further to the right
	knownSet    = 3 // diameters are wrong where the shop has strings of those that were meant
)

const sameSteel = 0.02 // of cores in two units, ln: as files round them

// scaled lists lengths in a wrong unit or with the point in a wrong place: of one
// string, and of all.
func (s *screener) scaled(m mounting, l *lengthColumn) (single, whole []*hypothesis) {
	for _, factor := range factors {
		kind := l.decimal
		if factor.inches {
			kind = InchesTyped
		}
		all := &hypothesis{kind: kind, columns: l.columns, corrected: map[int]cell.Cell{}, prior: -factor.rare}
		for _, i := range m {
			c := s.cells[i]
			l.put(&c, l.get(&c)*factor.by)
			all.corrected[i] = c
			if isImpossible(&c) || math.Abs(l.get(&c)-l.get(&s.cells[i])) < leastChange {
				continue
			}
			one := &hypothesis{kind: kind, columns: l.columns, corrected: map[int]cell.Cell{i: c}, strings: []int{c.String}, prior: -factor.rare}
			if factor.by > 1 && s.hasExtraDigits(i, l) {
				one.prior += extraDigits
				all.prior = one.prior
			}
			one.cause = fmt.Sprintf("%s %s mm of string %d: %s %s mm?", l.name, mm(l.get(&s.filed[i])), c.String, factor.words, mm(l.get(&c)))
			single = append(single, one)
		}
		if len(m) > 1 && !anyBecomesImpossible(all.corrected) && s.mostChange(all.corrected, l) >= leastChange {
			if l == steelLength && s.hasSet(m, all.corrected) {
				all.prior += knownSet
			}
			all.cause = fmt.Sprintf("all %ss, %s mm: %s %s mm?", l.name, s.listed(m, nil, l), factor.words, s.listed(m, all.corrected, l))
			whole = append(whole, all)
		}
	}
	return single, whole
}

// hasExtraDigits reports whether a cell's length has more decimals than the shop types.
func (s *screener) hasExtraDigits(i int, l *lengthColumn) bool {
	return decimals(l.get(&s.filed[i])) > s.habits.digits[l]
}

// hasSet reports whether another mounting has the strings that this one has once it is
// corrected.
func (s *screener) hasSet(m mounting, corrected map[int]cell.Cell) bool {
	return slices.ContainsFunc(s.mountings, func(o mounting) bool {
		if len(o) != len(m) || o[0] == m[0] {
			return false
		}
		for x, i := range m {
			a, b := s.cellAt(i, corrected), &s.cells[o[x]]
			if a.String != b.String || math.Abs(math.Log(a.Core/b.Core)) > sameSteel {
				return false
			}
		}
		return true
	})
}

// mostChange is the most by which corrections change a length, mm.
func (s *screener) mostChange(corrected map[int]cell.Cell, l *lengthColumn) float64 {
	most := 0.0
	for i, c := range corrected {
		most = max(most, math.Abs(l.get(&c)-l.get(&s.cells[i])))
	}
	return most
}

// swapped lists pairs of strings whose heights may stand in each other's place.
func (s *screener) swapped(m mounting, l *lengthColumn) []*hypothesis {
	var out []*hypothesis
	for x, i := range m {
		for _, k := range m[x+1:] {
			a, b := s.cells[i], s.cells[k]
			va, vb := l.get(&a), l.get(&b)
			if math.Abs(va-vb) < leastChange {
				continue
			}
			l.put(&a, vb)
			l.put(&b, va)
			h := &hypothesis{
				kind: l.swap, columns: l.columns, strings: []int{a.String, b.String}, corrected: map[int]cell.Cell{i: a, k: b},
				cause: fmt.Sprintf("%ss %s and %s mm of strings %d and %d: each other's?", l.name, mm(va), mm(vb), a.String, b.String),
			}
			if !anyBecomesImpossible(h.corrected) {
				out = append(out, h)
			}
		}
	}
	return out
}

// reversed lists the heights read from the other end.
func (s *screener) reversed(m mounting) []*hypothesis {
	if len(m) < 3 || !s.isSymmetric(m) {
		return nil
	}
	var out []*hypothesis
	for _, lengths := range [][]*lengthColumn{{poleLength}, {heightLength}, {poleLength, heightLength}} {
		h := &hypothesis{kind: WrongEnd, corrected: map[int]cell.Cell{}}
		for x, i := range m {
			c := s.cells[i]
			for _, l := range lengths {
				l.put(&c, l.get(&s.cells[m[len(m)-1-x]]))
			}
			h.corrected[i] = c
		}
		unchanged := func(l *lengthColumn) bool { return s.mostChange(h.corrected, l) < leastChange }
		if anyBecomesImpossible(h.corrected) || slices.ContainsFunc(lengths, unchanged) {
			continue
		}
		var names []string
		for _, l := range lengths {
			h.columns = append(h.columns, l.columns...)
			names = append(names, l.name+"s "+s.listed(m, nil, l)+" mm")
		}
		h.cause = strings.Join(names, " and ") + ": listed from the last string to the first?"
		out = append(out, h)
	}
	return out
}

// isSymmetric reports whether a mounting has the same strings counted from either end:
// none is missing but with its counterpart.
func (s *screener) isSymmetric(m mounting) bool {
	ends := s.cells[m[0]].String + s.cells[m[len(m)-1]].String
	for x, i := range m {
		if s.cells[i].String+s.cells[m[len(m)-1-x]].String != ends {
			return false
		}
	}
	return true
}
