package screen

import (
	"cmp"
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
	type place struct{ act, number int } // number of its string, or of one of several mountings
	acts := map[act]int{}
	last, number := act{}, -1
	seen := map[place]int{}
	at := map[place]int{}
	var out []mounting
	for _, i := range byRows(cells) {
		c := cells[i]
		if of := (act{c.Pickup, c.Session, c.Excite}); number < 0 || of != last {
			n, ok := acts[of]
			if !ok {
				n = len(acts)
				acts[of] = n
			}
			last, number = of, n
		}
		same := place{number, c.String}
		p := place{number, seen[same]}
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

// byRows lists the places of cells by where their first rows stand, those without rows
// first.
func byRows(cells []*cell.Cell) []int {
	type first struct {
		file, line int32
		place      int
	}
	all := make([]first, len(cells))
	for i, c := range cells {
		all[i] = first{-1, -1, i}
		if len(c.Rows) > 0 {
			all[i] = first{c.Rows[0].File, c.Rows[0].First, i}
		}
	}
	slices.SortFunc(all, func(a, b first) int {
		return cmp.Or(cmp.Compare(a.file, b.file), cmp.Compare(a.line, b.line), a.place-b.place)
	})
	out := make([]int, len(all))
	for k, f := range all {
		out[k] = f.place
	}
	return out
}
