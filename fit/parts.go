package fit

import (
	"slices"
	"sync"

	"evenpole/fit/cell"
	"evenpole/profiles"
)

// parts are what a record can be judged by: its pickups and its string sets. They are
// the same for every kind of model.
type parts struct {
	pickups  []part // in the order of the cells
	sets     []part // in alphabetical order
	setOf    []int  // of each cell, its place in sets
	pickupOf []int  // of each cell, its place in pickups

	whole        string // fingerprint of the data
	fingerprints func() // waits for those of the data and of the parts, which are taken beside the fits
}

// fingerprint is that of the data.
func (a *parts) fingerprint() string {
	a.fingerprints()
	return a.whole
}

// fingerprintOf is that of one part.
func (a *parts) fingerprintOf(p *part) string {
	a.fingerprints()
	return p.fingerprint
}

// part is the cells of one pickup or of one string set.
type part struct {
	name        string
	pickup, set int             // its place; -1 = it is the other
	first, last int             // a pickup's cells
	relative    bool            // levels of a pickup's are in no known unit
	places      []int           // a set's cells, in order
	ownWraps    []profiles.Wrap // wraps that nothing else has, in cells that no mistake is thought to touch
	fingerprint string
}

func (p *part) isPickup() bool { return p.pickup >= 0 }

// cells are the places of a part's cells, in order.
func (p *part) cells() []int {
	if p.isPickup() {
		return between(p.first, p.last)
	}
	return p.places
}

// eachPickup calls do for each pickup that a part has cells of, with their places.
func (a *parts) eachPickup(p *part, do func(of *part, places []int)) {
	for left := p.cells(); len(left) > 0; {
		of := &a.pickups[a.pickupOf[left[0]]]
		n, _ := slices.BinarySearch(left, of.last)
		do(of, left[:n])
		left = left[n:]
	}
}

// between are the numbers from first to before last.
func between(first, last int) []int {
	out := make([]int, last-first)
	for i := range out {
		out[i] = first + i
	}
	return out
}

func partsOf(d *cell.Data) *parts {
	a := &parts{setOf: make([]int, len(d.Cells)), pickupOf: make([]int, len(d.Cells))}
	names := d.SetNames()
	at := map[string]int{}
	for _, name := range distinct(slices.Clone(names)) {
		at[name] = len(a.sets)
		a.sets = append(a.sets, part{name: name, pickup: -1, set: len(a.sets)})
	}
	for i := range d.Cells {
		c := &d.Cells[i]
		if n := len(a.pickups); n == 0 || a.pickups[n-1].name != c.Pickup {
			a.pickups = append(a.pickups, part{name: c.Pickup, pickup: n, set: -1, first: i})
		}
		p := &a.pickups[len(a.pickups)-1]
		p.last, p.relative = i+1, p.relative || c.Scale != ""
		a.setOf[i], a.pickupOf[i] = at[names[i]], p.pickup
		set := &a.sets[a.setOf[i]]
		set.places = append(set.places, i)
	}
	a.findOwnWraps(d.Cells)
	a.fingerprints = sync.OnceFunc(func() { a.takeFingerprints(d) })
	go a.fingerprints()
	return a
}

// findOwnWraps finds the wraps that only one part has.
func (a *parts) findOwnWraps(cells []cell.Cell) {
	type holders struct{ pickup, set int } // the one that has it, -1 = several
	all := map[profiles.Wrap]*holders{}
	for k := range a.pickups {
		for i := a.pickups[k].first; i < a.pickups[k].last; i++ {
			if cells[i].Suspected() {
				continue
			}
			h := all[cells[i].Wrap]
			if h == nil {
				all[cells[i].Wrap] = &holders{k, a.setOf[i]}
				continue
			}
			if h.pickup != k {
				h.pickup = -1
			}
			if h.set != a.setOf[i] {
				h.set = -1
			}
		}
	}
	for wrap, h := range all {
		if h.pickup >= 0 {
			a.pickups[h.pickup].ownWraps = append(a.pickups[h.pickup].ownWraps, wrap)
		}
		if h.set >= 0 {
			a.sets[h.set].ownWraps = append(a.sets[h.set].ownWraps, wrap)
		}
	}
	for _, list := range [][]part{a.pickups, a.sets} {
		for i := range list {
			slices.Sort(list[i].ownWraps)
		}
	}
}

// takeFingerprints takes those of all cells and of every part.
func (a *parts) takeFingerprints(d *cell.Data) {
	whole, parts := d.Fingerprints(&cell.Partition{Of: a.pickupOf, Parts: len(a.pickups)}, &cell.Partition{Of: a.setOf, Parts: len(a.sets)})
	a.whole = whole
	for k := range a.pickups {
		a.pickups[k].fingerprint = parts[0][k]
	}
	for k := range a.sets {
		a.sets[k].fingerprint = parts[1][k]
	}
}
