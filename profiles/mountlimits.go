package profiles

// mountLimits are the spans of the lengths that a mount gives, by key without unit.
var mountLimits = map[string]span{
	"core":          gauges,
	"gauge":         gauges,
	"pole_height":   poleHeights,
	"string_height": stringHeights,
	"probe_gap":     probeGaps,
}

// A Limit is the range of values that make sense for a length. It is wide: it is there
// to catch a slip of the finger and a length in the wrong unit.
type Limit struct{ span span }

// MountLimit returns the limit that a mount file has for a length, by its key without
// the unit: core, gauge, pole_height, string_height or probe_gap. What comes into the
// record by another way than a mount has the same limit.
func MountLimit(stem string) (l Limit, ok bool) {
	l.span, ok = mountLimits[stem]
	return l, ok
}

// Has reports whether a length in mm is within the limit.
func (l Limit) Has(mm float64) bool { return l.span.has(mm) }

// In writes the limit in a unit that is so many mm: "0.15 to 4 mm".
func (l Limit) In(name string, mm float64) string { return l.span.in(unit{name, mm}) }
