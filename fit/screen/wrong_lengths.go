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

// scaledOne lists lengths of one string in a wrong unit or with the point in a wrong
// place.
func (s *screener) scaledOne(b *baseline, l *lengthColumn) []*hypothesis {
	m := b.mounting
	var out []*hypothesis
	for _, factor := range factors {
		for x, i := range m {
			h := scaled(l, factor, m[x:x+1])
			if s.becomesImpossible(h, b) || s.mostChange(h, l, b) < leastChange {
				continue
			}
			if factor.by > 1 && s.hasExtraDigits(i, l) {
				h.prior += extraDigits
			}
			h.strings = []int{s.cells[i].String}
			h.words = func() string {
				c := h.corrected[i]
				return fmt.Sprintf("%s %s mm of string %d: %s %s mm?", l.name, mm(l.get(s.filed[i])), c.String, factor.words, mm(l.get(c)))
			}
			out = append(out, h)
		}
	}
	return out
}

// scaledAll does so with the lengths of all strings.
func (s *screener) scaledAll(b *baseline, l *lengthColumn) []*hypothesis {
	m := b.mounting
	if len(m) < 2 {
		return nil
	}
	var out []*hypothesis
	for _, factor := range factors {
		h := scaled(l, factor, m)
		if s.becomesImpossible(h, b) || s.mostChange(h, l, b) < leastChange {
			continue
		}
		if factor.by > 1 && s.anyExtraDigits(m, l) {
			h.prior += extraDigits
		}
		if l == steelLength && s.hasSet(m, factor.by) {
			h.prior += knownSet
		}
		h.words = func() string {
			return fmt.Sprintf("all %ss, %s mm: %s %s mm?", l.name, s.listed(m, nil, l), factor.words, s.listed(m, h.corrected, l))
		}
		out = append(out, h)
	}
	return out
}

// scaled is the hypothesis that a factor leads from lengths to those that were meant.
func scaled(l *lengthColumn, f factor, touched []int) *hypothesis {
	kind := l.decimal
	if f.inches {
		kind = InchesTyped
	}
	return &hypothesis{kind: kind, columns: l.columns, touched: touched, prior: -f.rare, correct: func(_ int, c *cell.Cell) { l.put(c, l.get(c)*f.by) }}
}

// hasExtraDigits reports whether a cell's length has more decimals than the shop types.
func (s *screener) hasExtraDigits(i int, l *lengthColumn) bool {
	return decimals(l.get(s.filed[i])) > s.digits[l]
}

// anyExtraDigits reports whether a length of a mounting has.
func (s *screener) anyExtraDigits(m mounting, l *lengthColumn) bool {
	return slices.ContainsFunc(m, func(i int) bool { return s.hasExtraDigits(i, l) })
}

// hasSetScaled reports whether hasSet is true of a factor.
func (s *screener) hasSetScaled(m mounting) bool {
	return slices.ContainsFunc(factors, func(f factor) bool { return s.hasSet(m, f.by) })
}

// hasSet reports whether another mounting has the strings that this one has once its
// cores are that many times as thick.
func (s *screener) hasSet(m mounting, factor float64) bool {
	return s.lists.hasCores(s, m, factor)
}

// swapped lists pairs of strings whose heights may stand in each other's place.
func (s *screener) swapped(b *baseline, l *lengthColumn) []*hypothesis {
	m := b.mounting
	var out []*hypothesis
	for x, i := range m {
		for _, k := range m[x+1:] {
			first, second := s.cells[i], s.cells[k]
			values := [2]float64{l.get(first), l.get(second)}
			if math.Abs(values[0]-values[1]) < leastChange {
				continue
			}
			h := &hypothesis{
				kind: l.swap, columns: l.columns, strings: []int{first.String, second.String}, touched: []int{i, k},
				correct: func(x int, c *cell.Cell) { l.put(c, values[1-x]) },
				words: func() string {
					return fmt.Sprintf("%ss %s and %s mm of strings %d and %d: each other's?", l.name, mm(values[0]), mm(values[1]), first.String, second.String)
				},
			}
			if !s.becomesImpossible(h, b) {
				out = append(out, h)
			}
		}
	}
	return out
}

// reversed lists the heights read from the other end.
func (s *screener) reversed(b *baseline) []*hypothesis {
	m := b.mounting
	if len(m) < 3 || !s.isSymmetric(m) {
		return nil
	}
	var out []*hypothesis
	for _, lengths := range [][]*lengthColumn{{poleLength}, {heightLength}, {poleLength, heightLength}} {
		h := &hypothesis{kind: WrongEnd, touched: m, correct: func(x int, c *cell.Cell) {
			for _, l := range lengths {
				l.put(c, l.get(s.cells[m[len(m)-1-x]]))
			}
		}}
		unchanged := func(l *lengthColumn) bool { return s.mostChange(h, l, b) < leastChange }
		if s.becomesImpossible(h, b) || slices.ContainsFunc(lengths, unchanged) {
			continue
		}
		for _, l := range lengths {
			h.columns = append(h.columns, l.columns...)
		}
		h.words = func() string {
			var names []string
			for _, l := range lengths {
				names = append(names, l.name+"s "+s.listed(m, nil, l)+" mm")
			}
			return strings.Join(names, " and ") + ": listed from the last string to the first?"
		}
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
