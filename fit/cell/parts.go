package cell

import (
	"cmp"
	"fmt"
	"strings"

	"evenpole/profiles"
)

// Pickups lists the pickups in order.
func (d *Data) Pickups() []string {
	var names []string
	for i := range d.Cells {
		if p := d.Cells[i].Pickup; len(names) == 0 || names[len(names)-1] != p {
			names = append(names, p)
		}
	}
	return names
}

// Split returns the data without one pickup, and that pickup's cells. The
// counts of rows stay those of all.
func (d *Data) Split(pickup string) (others *Data, own []Cell) {
	rest := *d
	rest.Cells = nil
	for _, c := range d.Cells {
		if c.Pickup == pickup {
			own = append(own, c)
		} else {
			rest.Cells = append(rest.Cells, c)
		}
	}
	return &rest, own
}

// ByPickup cuts the cells, which stand by pickup, into those of each.
func (d *Data) ByPickup() [][]Cell {
	return d.cut(func(a, b *Cell) bool { return a.Pickup == b.Pickup })
}

// Sessions cuts the cells, which stand by pickup and session, into those of each
// session of each pickup.
func (d *Data) Sessions() [][]Cell {
	return d.cut(func(a, b *Cell) bool { return a.Pickup == b.Pickup && a.Session == b.Session })
}

// FewPickups are the numbers of every fifth of so many pickups, which say roughly what all
// say; an odd step meets pickups that come in turns. There are none where these have so few
// cells that they would not.
func FewPickups(pickups int, cellsOf func(k int) int) (few []int) {
	const step, enough = 5, 1500
	cells := 0
	for k := step / 2; k < pickups; k += step {
		few = append(few, k)
		cells += cellsOf(k)
	}
	if cells < enough {
		return nil
	}
	return few
}

// cut cuts the cells where one and the next are not together.
func (d *Data) cut(together func(a, b *Cell) bool) [][]Cell {
	var out [][]Cell
	from := 0
	for i := range d.Cells {
		if i+1 == len(d.Cells) || !together(&d.Cells[i], &d.Cells[i+1]) {
			out = append(out, d.Cells[from:i+1])
			from = i + 1
		}
	}
	return out
}

// SetNames names the string set of every cell.
func (d *Data) SetNames() []string {
	names := make([]string, 0, len(d.Cells))
	for _, cells := range d.Sessions() {
		unnamed := ""
		for i := range cells {
			name := cells[i].Set
			if name == "" && unnamed == "" {
				unnamed = unnamedSet(cells)
			}
			names = append(names, cmp.Or(name, unnamed))
		}
	}
	return names
}

// unnamedSet names the strings of a session by their gauges and cores, mm.
func unnamedSet(cells []Cell) string {
	var list []string
	for i := range cells {
		c := &cells[i]
		str := fmt.Sprintf("%g", c.Core)
		if c.Gauge != c.Core {
			str = fmt.Sprintf("%g/%g", c.Gauge, c.Core)
		}
		if n := len(list); n == 0 || list[n-1] != str {
			list = append(list, str)
		}
	}
	return "unnamed, " + strings.Join(list, " ") + " mm"
}

// Possible reports whether there can be such a cell: see Fault, which says why not.
func (c *Cell) Possible() bool {
	return fault(c.String, c.Core, c.Gauge, c.PoleHeight, c.StringHeight) == ""
}

// Trusting returns what tells the cells that no mistake is thought to touch; all of them
// where none is left.
func Trusting(cells []Cell) func(*Cell) bool {
	if anyCell(cells, isTrusted) {
		return isTrusted
	}
	return func(*Cell) bool { return true }
}

func isTrusted(c *Cell) bool { return !c.Suspected() }

// anyCell reports whether some cell is so, and copies none.
func anyCell(cells []Cell, so func(*Cell) bool) bool {
	for i := range cells {
		if so(&cells[i]) {
			return true
		}
	}
	return false
}

// OneExcite returns the kind of excitation that most cells have, those cells,
// and a note on the others, "" when there are none.
func OneExcite(cells []Cell) (excite profiles.Excitation, kept []Cell, note string) {
	excite = UsualExcite(cells)
	others := func(c *Cell) bool { return c.Excite != excite }
	if !anyCell(cells, others) {
		return excite, cells, ""
	}
	for i := range cells {
		if !others(&cells[i]) {
			kept = append(kept, cells[i])
		}
	}
	return excite, kept, fmt.Sprintf("%d of %d cells were not excited by %q, as the others were, and are left out", len(cells)-len(kept), len(cells), excite)
}

// UsualExcite is the kind of excitation that most cells of some lists have.
func UsualExcite(lists ...[]Cell) (excite profiles.Excitation) {
	count := map[profiles.Excitation]int{}
	for _, cells := range lists {
		for i := range cells {
			count[cells[i].Excite]++
		}
	}
	for e, n := range count {
		if most := count[excite]; n > most || n == most && e < excite {
			excite = e
		}
	}
	return excite
}

// LastStrings is the highest string number of each pickup.
func LastStrings(cells []Cell) map[string]int {
	last := map[string]int{}
	for i := range cells {
		c := &cells[i]
		last[c.Pickup] = max(last[c.Pickup], c.String)
	}
	return last
}

// The usual scatter of a pluck, ln v: our assumptions.
const (
	usualTakeSD = 0.03
	usualHandSD = 0.15 // by hand
)

// TakeVariances are the variances of one take about its cell's mean, ln v squared,
// of those that a jig made and of those that a hand plucked.
type TakeVariances struct{ Jig, Hand float64 }

// TakeVariancesOf pools the cells of some lists; where every cell of a kind has a single
// take, its takes vary as usual.
func TakeVariancesOf(lists ...[]Cell) TakeVariances {
	var ss, df [2]float64
	for _, cells := range lists {
		for i := range cells {
			c, k := &cells[i], 0
			if c.ByHand {
				k = 1
			}
			ss[k] += c.SD * c.SD * float64(c.Takes-1)
			df[k] += float64(c.Takes - 1)
		}
	}
	v := TakeVariances{usualTakeSD * usualTakeSD, usualHandSD * usualHandSD}
	if df[0] > 0 {
		v.Jig = ss[0] / df[0]
	}
	if df[1] > 0 {
		v.Hand = ss[1] / df[1]
	}
	return v
}

// Of is the variance of a take of a cell.
func (v TakeVariances) Of(c *Cell) float64 {
	if c.ByHand {
		return v.Hand
	}
	return v.Jig
}
