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

// mountingsOf groups cells by pickup, session and excitation. A string that stands there
// more than once, at several heights, was mounted as often: the k-th mounting has the
// k-th cell of each string, in the order of rows. They are in the order of their first
// rows, those without rows first.
func mountingsOf(cells []*cell.Cell) []mounting {
	of, ends := actsOf(cells)
	inTurn := make(mounting, len(cells))
	for i, act := range of {
		inTurn[ends[act]] = i
		ends[act]++
	}
	type made struct {
		first    int // the cell whose rows come first
		mounting mounting
	}
	all := make([]made, 0, len(ends))
	from := 0
	for _, end := range ends {
		act := inTurn[from:end:end]
		slices.SortFunc(act, func(a, b int) int { return compareRows(cells, a, b) })
		for _, m := range mountingsOfAct(cells, act) {
			first := m[0]
			slices.SortFunc(m, func(a, b int) int { return cells[a].String - cells[b].String })
			all = append(all, made{first, m})
		}
		from = end
	}
	slices.SortFunc(all, func(a, b made) int { return compareRows(cells, a.first, b.first) })
	out := make([]mounting, len(all))
	for k, m := range all {
		out[k] = m.mounting
	}
	return out
}

// actsOf numbers what was captured of one pickup in one session in one way: of is the
// number of each cell, and starts is where each would begin were they in turn.
func actsOf(cells []*cell.Cell) (of []int32, starts []int) {
	type act struct {
		pickup, session string
		excite          profiles.Excitation
	}
	acts := map[act]int32{}
	of = make([]int32, len(cells))
	for i, c := range cells {
		if i > 0 && c.Pickup == cells[i-1].Pickup && c.Session == cells[i-1].Session && c.Excite == cells[i-1].Excite {
			of[i] = of[i-1]
		} else {
			key := act{c.Pickup, c.Session, c.Excite}
			n, ok := acts[key]
			if !ok {
				n = int32(len(starts))
				acts[key] = n
				starts = append(starts, 0)
			}
			of[i] = n
		}
		starts[of[i]]++
	}
	n := 0
	for k, count := range starts {
		starts[k], n = n, n+count
	}
	return of, starts
}

// mountingsOfAct tells the mountings of one act apart, whose cells are in the order of rows.
func mountingsOfAct(cells []*cell.Cell, act mounting) []mounting {
	if eachOnce(cells, act) {
		return []mounting{act}
	}
	var out []mounting
	seen := map[int]int{}
	for _, i := range act {
		k := seen[cells[i].String]
		seen[cells[i].String]++
		if k == len(out) {
			out = append(out, nil)
		}
		out[k] = append(out[k], i)
	}
	return out
}

// eachOnce reports whether no string has two cells.
func eachOnce(cells []*cell.Cell, act mounting) bool {
	for x, i := range act {
		if slices.ContainsFunc(act[:x], func(k int) bool { return cells[k].String == cells[i].String }) {
			return false
		}
	}
	return true
}

// compareRows says which of two cells' first rows come first; -1 stands for those of a
// cell without rows.
func compareRows(cells []*cell.Cell, a, b int) int {
	first := func(i int) (file, line int) {
		if rows := cells[i].Rows; len(rows) > 0 {
			return int(rows[0].File), int(rows[0].First)
		}
		return -1, -1
	}
	fileA, lineA := first(a)
	fileB, lineB := first(b)
	return cmp.Or(fileA-fileB, lineA-lineB, a-b)
}
