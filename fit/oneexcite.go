package fit

import (
	"fmt"
	"slices"
)

// oneExcite returns the kind of excitation that most cells have, those cells,
// and a note on the others, "" when there are none.
func oneExcite(cells []Cell) (excite string, kept []Cell, note string) {
	count := map[string]int{}
	for _, c := range cells {
		count[c.Excite]++
	}
	for e, n := range count {
		if most := count[excite]; n > most || n == most && e < excite {
			excite = e
		}
	}
	kept = slices.DeleteFunc(slices.Clone(cells), func(c Cell) bool { return c.Excite != excite })
	if n := len(cells) - len(kept); n > 0 {
		note = fmt.Sprintf("%d of %d cells were not excited by %q, as the others were, and are left out", n, len(cells), excite)
	}
	return excite, kept, note
}
