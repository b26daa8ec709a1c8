package fit

import "evenpole/fit/cell"

// groups is which pickup each of some cells belongs to, pickups numbered from 0.
type groups struct {
	of []int
	n  int
}

// byPickup groups cells; those of one pickup stand together.
func byPickup(cells []cell.Cell) groups {
	g := groups{of: make([]int, len(cells))}
	for i := range cells {
		if i == 0 || cells[i].Pickup != cells[i-1].Pickup {
			g.n++
		}
		g.of[i] = g.n - 1
	}
	return g
}
