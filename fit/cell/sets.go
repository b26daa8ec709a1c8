package cell

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"evenpole/profiles"
)

// StringSets lists the string sets that the record names and knows whole, by
// name, their strings as the cells have them.
func (d *Data) StringSets() []profiles.StringSet {
	found := map[string][]*Cell{} // the last ones of its strings
	for i := range d.Cells {
		c := &d.Cells[i]
		if c.Set == "" {
			continue
		}
		list := found[c.Set]
		if len(list) < c.String {
			list = append(list, make([]*Cell, c.String-len(list))...)
			found[c.Set] = list
		}
		list[c.String-1] = c
	}
	var out []profiles.StringSet
	for name, list := range found {
		if slices.Contains(list, nil) {
			continue
		}
		set := profiles.StringSet{Name: name, Source: "the record"}
		for _, c := range list {
			set.Strings = append(set.Strings, profiles.String{Note: noteOf(c.Freq), Gauge: max(c.Gauge, c.Core), Core: c.Core, Wrap: c.Wrap})
		}
		out = append(out, set)
	}
	slices.SortFunc(out, func(a, b profiles.StringSet) int { return cmp.Compare(a.Name, b.Name) })
	return out
}

// noteOf is the note nearest to a pitch; "" when it is not known.
func noteOf(hz float64) string {
	if !(hz > 0) {
		return ""
	}
	n := int(math.Round(12*math.Log2(hz/440))) + 9 + 4*12 // semitones over C0
	if n < 0 {
		return ""
	}
	names := [12]string{"C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"}
	return fmt.Sprintf("%s%d", names[n%12], n/12)
}
