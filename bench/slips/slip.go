package main

import (
	"math"
	"slices"

	"evenpole/capture/record"
	"evenpole/fit/cell"
	"evenpole/fit/screen"
)

// slip is a mistake that was made in a record on purpose.
type slip struct {
	kind    string
	about   string // which variety of the kind
	pickup  string // the true one
	session string
	strings []int // nil: all
}

// least is by how much a mistake changes a height at least, mm: one that changes
// less does little harm, and nobody can see it.
const least = 0.3

// variety makes one kind of mistake in a mounting; false where it cannot be made
// there.
type variety struct {
	kind, about string
	make        func(s *shop, m *mounting) ([]int, bool)
}

var varieties = []variety{
	{screen.DecimalPole, "ten times", func(s *shop, m *mounting) ([]int, bool) { return s.scaleOne(m, pole, 10, 2) }},
	{screen.DecimalPole, "a tenth", func(s *shop, m *mounting) ([]int, bool) { return s.scaleOne(m, pole, 0.1, 2) }},
	{screen.DecimalHeight, "ten times", func(s *shop, m *mounting) ([]int, bool) { return s.scaleOne(m, height, 10, 2) }},
	{screen.DecimalHeight, "a tenth", func(s *shop, m *mounting) ([]int, bool) { return s.scaleOne(m, height, 0.1, 2) }},
	{screen.SwappedPoles, "", func(s *shop, m *mounting) ([]int, bool) { return s.swap(m, pole) }},
	{screen.SwappedHeights, "", func(s *shop, m *mounting) ([]int, bool) { return s.swap(m, height) }},
	{screen.InchesTyped, "one pole height", func(s *shop, m *mounting) ([]int, bool) { return s.scaleOne(m, pole, 1/25.4, 3) }},
	{screen.InchesTyped, "one string height", func(s *shop, m *mounting) ([]int, bool) { return s.scaleOne(m, height, 1/25.4, 3) }},
	{screen.InchesTyped, "all pole heights", func(s *shop, m *mounting) ([]int, bool) { return s.scaleAll(m, pole) }},
	{screen.InchesTyped, "all string heights", func(s *shop, m *mounting) ([]int, bool) { return s.scaleAll(m, height) }},
	{screen.InchesTyped, "all diameters", steelInInches},
	{screen.WrongSet, "", wrongSet},
	{screen.PickupMixedUp, "id only", func(s *shop, m *mounting) ([]int, bool) { return mixUp(s, m, false) }},
	{screen.PickupMixedUp, "whole mount file", func(s *shop, m *mounting) ([]int, bool) { return mixUp(s, m, true) }},
	{screen.WrongEnd, "pole heights", fromWrongEnd},
	{screen.ClippedUnseen, "", clip},
	{screen.DriftInSession, "1.5 dB", func(s *shop, m *mounting) ([]int, bool) { return runAway(s, m, 1.5) }},
	{screen.DriftInSession, "2.5 dB", func(s *shop, m *mounting) ([]int, bool) { return runAway(s, m, 2.5) }},
}

func pole(r *record.Reading) *float64   { return &r.PoleHeight }
func height(r *record.Reading) *float64 { return &r.StringHeight }

// rowsOf calls do for the rows of a mounting.
func (s *shop) rowsOf(m *mounting, do func(r *record.Reading)) {
	for i := m.first; i <= m.last; i++ {
		do(&s.rows[i])
	}
}

// filed is a mounting's list of lengths as the rows have it.
func (s *shop) filed(m *mounting, of func(*record.Reading) *float64) []float64 {
	out := make([]float64, 6)
	s.rowsOf(m, func(r *record.Reading) { out[r.String-1] = *of(r) })
	return out
}

func (s *shop) file(m *mounting, of func(*record.Reading) *float64, list []float64) {
	s.rowsOf(m, func(r *record.Reading) { *of(r) = list[r.String-1] })
}

func round(v float64, digits int) float64 {
	p := math.Pow10(digits)
	return math.Round(v*p) / p
}

func (s *shop) scaleOne(m *mounting, of func(*record.Reading) *float64, by float64, digits int) ([]int, bool) {
	list := s.filed(m, of)
	i := s.IntN(6)
	was := list[i]
	list[i] = round(was*by, digits)
	if math.Abs(list[i]-was) < least {
		return nil, false
	}
	s.file(m, of, list)
	return []int{i + 1}, true
}

func (s *shop) scaleAll(m *mounting, of func(*record.Reading) *float64) ([]int, bool) {
	list := s.filed(m, of)
	for i := range list {
		list[i] = round(list[i]/25.4, 3)
	}
	s.file(m, of, list)
	return nil, true
}

func (s *shop) swap(m *mounting, of func(*record.Reading) *float64) ([]int, bool) {
	list := s.filed(m, of)
	p := s.Perm(6)
	i, k := min(p[0], p[1]), max(p[0], p[1])
	if math.Abs(list[i]-list[k]) < least {
		return nil, false
	}
	list[i], list[k] = list[k], list[i]
	s.file(m, of, list)
	return []int{i + 1, k + 1}, true
}

func fromWrongEnd(s *shop, m *mounting) ([]int, bool) {
	list := s.filed(m, pole)
	changed := 0.0
	for i := range list {
		changed = max(changed, math.Abs(list[i]-list[5-i]))
	}
	if changed < least {
		return nil, false
	}
	slices.Reverse(list)
	s.file(m, pole, list)
	return nil, true
}

func steelInInches(s *shop, m *mounting) ([]int, bool) {
	s.rowsOf(m, func(r *record.Reading) { r.Core, r.Gauge = round(r.Core/25.4, 4), round(r.Gauge/25.4, 4) })
	return nil, true
}

func wrongSet(s *shop, m *mounting) ([]int, bool) {
	if len(s.sets) < 2 {
		return nil, false
	}
	other := &s.sets[s.IntN(len(s.sets))]
	if other == m.set {
		return nil, false
	}
	s.rowsOf(m, func(r *record.Reading) {
		x := other.listed[r.String-1]
		r.StringSet, r.Core, r.Gauge, r.Wrap = other.name, x.Core, x.Gauge, x.Wrap
	})
	return nil, true
}

// mixUp files a mounting under another pickup, which was mounted too; its own has
// another mounting left.
func mixUp(s *shop, m *mounting, whole bool) ([]int, bool) {
	o := s.all[s.IntN(len(s.all))]
	left := 0
	for _, x := range s.all {
		if x.pickup == m.pickup {
			left++
		}
	}
	changed := 0.0
	for i := range m.poles {
		changed = max(changed, math.Abs(m.poles[i]-o.poles[i]))
	}
	if o.pickup == m.pickup || left < 2 || changed < least {
		return nil, false
	}
	s.rowsOf(m, func(r *record.Reading) {
		r.Pickup = o.pickup.name
		if whole {
			r.Batch, r.PoleHeight = o.pickup.batch, o.poles[r.String-1]
		}
	})
	return nil, true
}

// clip cuts the peaks of one string off so that most of its takes reach the limit.
func clip(s *shop, m *mounting) ([]int, bool) {
	i := 1 + s.IntN(6)
	var peaks []float64
	s.rowsOf(m, func(r *record.Reading) {
		if r.String == i && r.Mode == "P" && r.Status == record.OK {
			peaks = append(peaks, r.Peak)
		}
	})
	slices.Sort(peaks)
	limit := peaks[len(peaks)/4]
	s.rowsOf(m, func(r *record.Reading) {
		if r.String == i && r.Peak > limit {
			r.RMS = thousandth(r.RMS * math.Pow(limit/r.Peak, 0.3))
			r.Peak = limit
		}
	})
	return []int{i}, true
}

// runAway lets the gain rise or fall over a session, by so many dB.
func runAway(s *shop, m *mounting, by float64) ([]int, bool) {
	total := by / 20 * math.Ln10
	if s.IntN(2) == 0 {
		total = -total
	}
	from, to := s.rows[m.first].Time, s.rows[m.last].Time
	s.rowsOf(m, func(r *record.Reading) {
		if r.Mode == "P" {
			f := math.Exp(total * (r.Time.Sub(from).Seconds()/to.Sub(from).Seconds() - 0.5))
			r.RMS, r.Peak = thousandth(r.RMS*f), thousandth(r.Peak*f)
		}
	})
	return nil, true
}

// err makes a mistake of a variety in some mounting that has none.
func (s *shop) err(v *variety, taken map[*mounting]bool) (slip, bool) {
	for range 100 {
		m := s.all[s.IntN(len(s.all))]
		if taken[m] {
			continue
		}
		if strings, ok := v.make(s, m); ok {
			taken[m] = true
			return slip{v.kind, v.about, m.pickup.name, m.session, strings}, true
		}
	}
	return slip{}, false
}

// named reports whether a suspect names the slip: kind, pickup, session and strings.
func (x *slip) named(f cell.Suspect) bool {
	return f.Kind == x.kind && f.Pickup == x.pickup && f.Session == x.session && slices.Equal(f.Strings, x.strings) && len(f.Rows) > 0
}
