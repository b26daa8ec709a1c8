package profiles

import (
	"fmt"
	"math"
	"slices"
)

// sameLength is the difference in mm below which two lengths are one, written
// in two units and rounded: half the last digit of a caliper.
const sameLength = 0.005

// readStringTables reads the [[string]] tables of t, string 1 first.
func readStringTables(t *table) []String {
	var list []String
	tables := t.tables("string")
	for _, s := range tables {
		list = append(list, readString(s))
	}
	if len(list) > MaxStrings {
		t.failItem("string", MaxStrings, "expected at most %d strings, got %d", MaxStrings, len(list))
	}
	if t.doc.ok() && upsideDown(list) {
		t.failItem("string", 0, "expected string 1 to be the highest-pitched, got strings that run from the thickest to the thinnest")
	}
	return list
}

// upsideDown reports whether strings were listed from the lowest-pitched up,
// as they hang on many instruments when seen by the player.
func upsideDown(list []String) bool {
	for i := 1; i < len(list); i++ {
		if list[i].Gauge >= list[i-1].Gauge {
			return false
		}
	}
	return len(list) >= 3
}

// readString reads one string and fills in what its file may leave out.
func readString(t *table) String {
	s := String{
		Note:  t.text("note", optional),
		Gauge: t.length("gauge", required, mountLimits["gauge"]),
		Core:  t.length("core", optional, mountLimits["core"]),
	}
	s.Wrap, _ = ParseWrap(t.text("wrap", optional))
	if !t.doc.ok() {
		return s
	}
	if _, err := Pitch(s.Note); s.Note != "" && err != nil {
		t.fail("note", "%v", err)
	}
	switch same := math.Abs(s.Core-s.Gauge) < sameLength; {
	case s.Wrap == "" && same:
		s.Wrap = Plain
	case s.Wrap == "":
		t.miss("wrap", `what the string is wound with ("plain" for nothing)`)
	case s.Plain() && s.Core != 0 && !same:
		t.fail("core", "expected the gauge (%.4g mm) of a plain string, got %.4g mm", s.Gauge, s.Core)
	case !s.Plain() && s.Core > s.Gauge-sameLength:
		t.fail("core", "expected less than the gauge (%.4g mm) of a wound string, got %.4g mm", s.Gauge, s.Core)
	}
	return completeCore(s)
}

// completeCore makes the core of a plain string its gauge, and estimates that
// of a wound string when it is not known.
func completeCore(s String) String {
	switch {
	case s.Plain():
		s.Core = s.Gauge
	case s.Core == 0:
		s.Core, _, _ = EstimateCore(s.Gauge)
		s.CoreEstimated = true
	}
	return s
}

// EstimatedCores says which strings of a mount have cores that were estimated from their
// gauges; "" where none has.
func (m *Mount) EstimatedCores() string {
	var names []string
	for i, s := range m.Strings {
		switch {
		case !s.CoreEstimated:
		case s.Note == "":
			names = append(names, fmt.Sprintf("string %d", i+1))
		default:
			names = append(names, fmt.Sprintf("string %d (%s)", i+1, s.Note))
		}
	}
	if names == nil {
		return ""
	}
	return "core estimated from the gauge: " + Listed(names) + "; measure the bare core beside the ball end with a caliper and write it into the mount"
}

// OwnWraps lists the wraps of strings that the handbook does not know, in order.
func OwnWraps(list []String) []Wrap {
	var out []Wrap
	for _, s := range list {
		if _, known := ParseWrap(string(s.Wrap)); !known && s.Wrap != "" {
			out = append(out, s.Wrap)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}
