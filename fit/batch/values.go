package batch

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"evenpole/fit/field"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
)

func quoted(names []string) string {
	var out []string
	for _, n := range names {
		out = append(out, fmt.Sprintf("%q", n))
	}
	return strings.Join(out, ", ")
}

func sortedKeys(m map[int][]float64) []int { return slices.Sorted(maps.Keys(m)) }

// usualGap is the gap, mm, at which most takes were made; NaN when most do not
// say theirs.
func (l *lot) usualGap() float64 {
	var gaps []float64
	var takes []int
	for _, m := range l.magnets {
		for _, p := range m.placings {
			i := slices.IndexFunc(gaps, func(g float64) bool { return sameGap(g, p.gap) })
			if i < 0 {
				i = len(gaps)
				gaps, takes = append(gaps, p.gap), append(takes, 0)
			}
			takes[i] += len(p.takes)
		}
	}
	return gaps[slices.Index(takes, slices.Max(takes))]
}

// nearGap is how far two gaps, mm, may lie apart and be one to a shop, so that 0.5 mm is
// 0.020 in: over so little the field of a rod changes by some 0.5 %, and no probe is set nearer.
const nearGap = 0.01

// scale is by what a field on a rod's axis at one gap, mm, is multiplied to be
// that at another.
func scale(from, to float64, rod field.Rod) (float64, error) {
	rod.Remanence = 1
	switch {
	case sameGap(from, to):
		return 1, nil
	case math.IsNaN(from) || math.IsNaN(to):
		return 0, fmt.Errorf("readings that do not say their probe gap cannot be mixed with those that do, nor brought to a gap: give probe_gap_mm for all")
	case rod.OnAxis(from) == 0 && math.Abs(from-to) <= nearGap:
		return 1, nil
	case rod.OnAxis(from) == 0:
		return 0, fmt.Errorf("readings at a probe gap of %g mm cannot be mixed with those at %g mm unless the rod's diameter and length are known", from, to)
	}
	return rod.OnAxis(to) / rod.OnAxis(from), nil
}

// at is the lot with all takes brought to one gap, mm.
func (l *lot) at(gap float64, rod field.Rod) (*lot, error) {
	out := &lot{first: l.first, last: l.last}
	for _, m := range l.magnets {
		one := &measured{name: m.name, position: m.position}
		for _, p := range m.placings {
			f, err := scale(p.gap, gap, rod)
			if err != nil {
				return nil, err
			}
			q := &placing{session: p.session, position: p.position, gap: gap, takes: slices.Clone(p.takes)}
			floats.Scale(f, q.takes)
			one.placings = append(one.placings, q)
		}
		if one.field() == 0 {
			return nil, fmt.Errorf("magnet %q reads 0 mT: nothing was under the probe; take its readings back", m.name)
		}
		out.magnets = append(out.magnets, one)
	}
	return out, nil
}

// means of the magnet's placings, mT, signed.
func (m *measured) means() []float64 {
	var out []float64
	for _, p := range m.placings {
		out = append(out, stat.Mean(p.takes, nil))
	}
	return out
}

// field of the magnet, mT, signed.
func (m *measured) field() float64 { return stat.Mean(m.means(), nil) }

// list is the lot's magnets for a report.
func (l *lot) list() []Magnet {
	var out []Magnet
	for _, m := range l.magnets {
		one := Magnet{Name: m.name, Position: m.position, Field: m.field(), Placings: len(m.placings)}
		for _, p := range m.placings {
			one.Takes += len(p.takes)
		}
		out = append(out, one)
	}
	return out
}

// mixedPolarity names the magnets whose takes do not agree on the pole that is up, takes
// that are too faint to tell left out.
func (l *lot) mixedPolarity() []string {
	var all []float64
	var of []int // the magnets of these takes
	for i, m := range l.magnets {
		for _, p := range m.placings {
			for _, x := range p.takes {
				all, of = append(all, x), append(of, i)
			}
		}
	}
	_, faint, _ := field.Sides(all)
	for _, k := range faint {
		all[k] = 0
	}
	seen := make([]struct{ up, down bool }, len(l.magnets))
	for k, x := range all {
		s := &seen[of[k]]
		s.up, s.down = s.up || x > 0, s.down || x < 0
	}
	var names []string
	for i, s := range seen {
		if s.up && s.down {
			names = append(names, l.magnets[i].name)
		}
	}
	return names
}
