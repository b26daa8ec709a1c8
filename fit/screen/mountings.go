package screen

import (
	"slices"

	"evenpole/fit/cell"
	"evenpole/profiles"
)

// mounting is the cells of one pickup that lay on the jig once under one set of
// strings, by their places, string 1 first and none twice.
type mounting []int

// mountsOf groups cells by pickup, session and excitation. A string that stands there
// more than once, at several heights, was mounted as often: the k-th mounting has the
// k-th cell of each string, in the order of rows.
func mountingsOf(cells []*cell.Cell) []mounting {
	type act struct {
		pickup, session string
		excite          profiles.Excitation
	}
	type place struct {
		act
		number int // its string, or which of several mountings
	}
	order := make([]int, len(cells))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return compareRows(cells[a], cells[b]) })
	seen := map[place]int{}
	at := map[place]int{}
	var out []mounting
	for _, i := range order {
		c := cells[i]
		of := act{c.Pickup, c.Session, c.Excite}
		same := place{of, c.String}
		p := place{of, seen[same]}
		seen[same]++
		k, ok := at[p]
		if !ok {
			k = len(out)
			at[p] = k
			out = append(out, nil)
		}
		out[k] = append(out[k], i)
	}
	for _, m := range out {
		slices.SortFunc(m, func(a, b int) int { return cells[a].String - cells[b].String })
	}
	return out
}

// compareRows orders cells by where their first rows stand.
func compareRows(a, b *cell.Cell) int {
	switch {
	case len(a.Rows) == 0 || len(b.Rows) == 0:
		return len(a.Rows) - len(b.Rows)
	case a.Rows[0].File != b.Rows[0].File:
		return a.Rows[0].File - b.Rows[0].File
	}
	return a.Rows[0].First - b.Rows[0].First
}
