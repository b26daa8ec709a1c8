package sheet

import (
	"maps"
	"regexp"
	"slices"
	"strings"
)

// otherUnits are what a column that ends in a unit may be in instead: the
// ending, and what its numbers are multiplied by. An inch is 25.4 mm and a gauss
// 0.1 mT, by definition; a thou is a thousandth of an inch.
var otherUnits = map[string]map[string]float64{
	"_mm": {"_in": 25.4, "_thou": 0.0254},
	"_mv": {"_uv": 0.001, "_v": 1000},
	"_mt": {"_ut": 0.001, "_t": 1000, "_g": 0.1},
}

// A Unit is one that the numbers of a column may be in.
type Unit struct {
	Name   string  // "in"
	Column string  // what a header in this unit stands for: "core_in"
	Size   float64 // in the record's own unit
}

// Units are those that the numbers of a column of the record may be in, the record's
// own first.
func Units(column string) []Unit {
	i := strings.LastIndex(column, "_") + 1
	all := []Unit{{column[i:], column, 1}}
	others := otherUnits[column[max(i-1, 0):]]
	for _, end := range slices.Sorted(maps.Keys(others)) {
		all = append(all, Unit{end[1:], column[:i-1] + end, others[end]})
	}
	return all
}

// otherWords are what people call units.
var otherWords = map[string]string{
	"gauss": "g", "tesla": "t", "millitesla": "mt", "inch": "in", "inches": "in", "mil": "thou", "mils": "thou", "thous": "thou",
	"millimetres": "mm", "millimeters": "mm", "volt": "v", "volts": "v", "millivolt": "mv", "millivolts": "mv",
}

// withUnit is a number with letters, or the sign of inches, behind it.
var withUnit = regexp.MustCompile(`^([+-]?[0-9.,]+(?:[eE][+-]?[0-9]+)?)\s*(?:([a-zA-Zµμ]+)|["″])$`)

// measured splits "12 mV" into number and unit; a text without a unit is the number.
func measured(text string) (number, unit string) {
	m := withUnit.FindStringSubmatch(text)
	switch {
	case m == nil:
		return text, ""
	case m[2] == "":
		return m[1], "in"
	}
	unit = strings.ToLower(strings.NewReplacer("µ", "u", "μ", "u").Replace(m[2]))
	if short, ok := otherWords[unit]; ok {
		unit = short
	}
	return m[1], unit
}

// unitOf is the size of a unit in that of a column of the record.
func unitOf(column, name string) (size float64, known bool) {
	for _, u := range Units(column) {
		if u.Name == name {
			return u.Size, true
		}
	}
	return 0, false
}
