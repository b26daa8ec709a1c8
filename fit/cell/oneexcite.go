package cell

import (
	"fmt"
	"slices"

	"evenpole/profiles"
)

// OneExcite returns the kind of excitation that most cells have, those cells,
// and a note on the others, "" when there are none.
func OneExcite(cells []Cell) (excite profiles.Excitation, kept []Cell, note string) {
	count := map[profiles.Excitation]int{}
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
