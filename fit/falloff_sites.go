package fit

import (
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// sites are the curve's inputs of cells, in little memory: what cells under one string of
// one place in the row share is kept once.
type sites struct {
	cells    []cell.Cell
	strings  []*curve.Site
	string   []int32   // of each cell, its place in strings
	velocity []float64 // of each cell
}

// sitesOf is the curve's inputs of cells.
func (f *Falloff) sitesOf(cells []cell.Cell) *sites {
	s := &sites{cells: cells, string: make([]int32, len(cells)), velocity: make([]float64, len(cells))}
	type key struct {
		core, gauge float64
		wrap        profiles.Wrap
		missing     int
	}
	var keys numbered[key]
	last := cell.LastStrings(cells)
	highest := 0
	for i := range cells {
		c := &cells[i]
		if i == 0 || c.Pickup != cells[i-1].Pickup {
			highest = last[c.Pickup]
		}
		missing := curve.MissingNeighbours(c.String, highest)
		k, isNew := keys.number(key{c.Core, c.Gauge, c.Wrap, missing})
		if isNew {
			at := f.CellSite(c, highest)
			s.strings = append(s.strings, &curve.Site{Core: at.Core, Gauge: at.Gauge, Wrap: at.Wrap, Missing: at.Missing})
		}
		s.string[i] = int32(k)
	}
	if f.Pitch {
		solve.InParallel(len(cells), func(from, to int) {
			for i := from; i < to; i++ {
				s.velocity[i] = f.CellVelocity(&cells[i])
			}
		})
	}
	return s
}

// place is where cell i is under its string.
func (s *sites) place(i int) curve.Place {
	c := &s.cells[i]
	return curve.Place{Height: c.PoleHeight, StringHeight: c.StringHeight, Velocity: s.velocity[i], Field: c.Field}
}

// at is the site of cell i.
func (s *sites) at(i int) *curve.Site {
	site, at := *s.strings[s.string[i]], s.place(i)
	site.Height, site.StringHeight, site.Field, site.Velocity = at.Height, at.StringHeight, at.Field, at.Velocity
	return &site
}

// numbered gives keys numbers in order of appearance. Keys of cells mostly follow each
// other as they did before, so that the one to compare with first is known.
type numbered[K comparable] struct {
	place map[K]int
	keys  []K
	next  []int // of each key, the one that followed it last
	last  int
}

func (n *numbered[K]) number(key K) (place int, isNew bool) {
	if len(n.keys) > 0 {
		if next := n.next[n.last]; n.keys[next] == key {
			n.last = next
			return next, false
		}
	} else {
		n.place = map[K]int{}
	}
	place, known := n.place[key]
	if !known {
		place = len(n.keys)
		n.place[key] = place
		n.keys, n.next = append(n.keys, key), append(n.next, place)
	}
	n.next[n.last] = place
	n.last = place
	return place, !known
}

// tangent is the curve made linear, as the observations of a mixed model: what cells say
// of the parameters. It implements [solve.Observations].
type tangent struct {
	sites  *sites
	steels *curve.Steels
	theta  []float64
	known  bool // the parameters are: what they say is taken off what was observed

	mountings solve.Levels // of each cell
	lift      []float64    // of each mounting: how much higher its strings lie than was said, mm; nil = 0
	logReach  []float64    // of each cell, see [curve.Steels]
}

func (t *tangent) Len() int { return len(t.sites.cells) }

func (t *tangent) Fixed() int {
	if t.known {
		return 0
	}
	return len(t.theta)
}

func (t *tangent) Row(i int, fixed []float64) (y, slope float64) {
	string, at, lift, mean := int(t.sites.string[i]), t.sites.place(i), t.liftOf(i), t.sites.cells[i].Mean
	offset, slope := t.steels.Row(fixed, string, at, lift, t.logReach[i])
	if t.known {
		offset = t.steels.Predict(string, at, lift)
	}
	return mean - offset + slope*lift, slope
}

func (t *tangent) liftOf(i int) float64 {
	if t.lift == nil {
		return 0
	}
	return t.lift[t.mountings.At(i)]
}

// tangent is the curve made linear at the model's parameters and at lifts of mountings;
// without any these are 0.
func (f *Falloff) tangent(m *solve.Mixed, at *sites, lift []float64) *tangent {
	t := &tangent{sites: at, theta: slices.Clone(f.Theta), mountings: m.Terms[curve.MountingEffect].Level, lift: lift}
	t.steels, t.logReach = f.Steels(t.theta, at.strings), make([]float64, t.Len())
	solve.InParallel(t.Len(), func(from, to int) {
		for i := from; i < to; i++ {
			t.logReach[i] = t.steels.LogReach(int(at.string[i]), at.place(i), t.liftOf(i))
		}
	})
	return t
}
