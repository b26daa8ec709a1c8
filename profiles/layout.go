package profiles

import (
	"fmt"
	"slices"
	"strings"
)

// A Layout is what stands under the strings where that is more than one pole under each
// of them, at even distances. The zero value is one pole a string.
type Layout struct {
	StringPositions []float64 // mm across the pickup, string 1 first, ascending; nil: evenly over the spread
	PolePositions   []float64 // mm, on the scale of StringPositions, that of string 1 first; nil: each under its strings
	PoleDiameter    float64   // mm; 0 when not given
	PolesPerString  int       // 1 or 2; 0 counts as 1
	StringsPerPole  int       // 1 or 2; 0 counts as 1
	Coil            *Coil     // a second coil; nil when there is none
}

// A Coil is the second coil of a pickup, with a row of poles of its own.
type Coil struct {
	FromBridge float64   // mm, its poles to the saddle
	Poles      PoleKind  //
	Polarity   Direction // its magnets' side that is up, against the first coil's
	Winding    Direction // its winding and connection, against the first coil's
	Min, Max   float64   // mm, how its poles may stand; both 0 when they are fixed
	Step       float64   // mm, in which they are set; 0 when they are fixed
	Fixed      []float64 // mm, one a string, of poles that stand as they are; nil when they are set
}

// Adds reports whether the two coils' signals add up, as they do where both magnets and
// winding are turned round, or neither.
func (c *Coil) Adds() bool { return c.Polarity == c.Winding }

// Direction says which way round the second of two things is.
type Direction string

// The directions.
const (
	Same     Direction = "same"
	Opposite Direction = "opposite"
)

// Directions lists the directions.
func Directions() []Direction { return []Direction{Same, Opposite} }

// Plain reports whether there is one pole under each string and one coil.
func (l *Layout) Plain() bool {
	return l.PolesPerString < 2 && l.StringsPerPole < 2 && l.Coil == nil
}

// PolesOf lists the numbers of the poles under a string, counted from 1 like the strings.
func (l *Layout) PolesOf(number int) []int {
	switch {
	case l.PolesPerString == 2:
		return []int{2*number - 1, 2 * number}
	case l.StringsPerPole == 2:
		return []int{(number + 1) / 2}
	}
	return []int{number}
}

// Leader is the first string, counted from 0, over the pole that is under string i, counted
// from 0: strings that share a pole have one leader.
func (l *Layout) Leader(i int) int {
	if l.StringsPerPole == 2 {
		return i &^ 1
	}
	return i
}

// StringOver is the first string over a pole, both counted from 0.
func (l *Layout) StringOver(pole int) int {
	switch {
	case l.PolesPerString == 2:
		return pole / 2
	case l.StringsPerPole == 2:
		return 2 * pole
	}
	return pole
}

// poleCount is how many poles a row has under n strings.
func (l *Layout) poleCount(n int) int {
	switch {
	case l.PolesPerString == 2:
		return 2 * n
	case l.StringsPerPole == 2:
		return n / 2
	}
	return n
}

// Across lists where n strings that spread so far, mm from the first to the last, lie
// across the pickup: as given, else evenly from 0.
func (l *Layout) Across(n int, spread float64) []float64 {
	if l.StringPositions != nil {
		return l.StringPositions
	}
	at := make([]float64, n)
	for i := range at {
		at[i] = float64(i) / float64(max(1, n-1)) * spread
	}
	return at
}

// PolesAcross lists where the poles stand under n strings, on the scale of Across: as
// given, else each under its string, or halfway between its two strings.
func (l *Layout) PolesAcross(n int, spread float64) []float64 {
	if l.PolePositions != nil {
		return l.PolePositions
	}
	strings := l.Across(n, spread)
	if l.StringsPerPole < 2 {
		return strings
	}
	var at []float64
	for i := 0; i+1 < n; i += 2 {
		at = append(at, (strings[i]+strings[i+1])/2)
	}
	return at
}

// readLayout reads what stands under the strings; of is the kind of its poles.
func readLayout(t *table, of PoleKind) Layout {
	l := Layout{
		StringPositions: t.lengths("string_positions", optional, acrosses),
		PolePositions:   t.lengths("pole_positions", optional, acrosses),
		PoleDiameter:    t.length("pole_diameter", optional, poleDiameters),
		PolesPerString:  t.whole("poles_per_string", optional, oneOrTwo),
		StringsPerPole:  t.whole("strings_per_pole", optional, oneOrTwo),
	}
	switch {
	case l.PolesPerString == 2 && l.StringsPerPole == 2:
		t.fail("strings_per_pole", "expected 1 beside poles_per_string = 2, got 2")
	case l.PolesPerString == 2 && l.PolePositions == nil && of != Blade:
		t.miss("pole_positions_mm", "where the two poles of each string stand")
	}
	if of == Blade {
		for _, key := range []string{"pole_positions", "poles_per_string", "strings_per_pole"} {
			if t.has(key) {
				t.fail(key, "expected no such key beside poles = \"blade\": one blade lies under all strings")
			}
		}
	}
	return l
}

// checkLayout checks the numbers and the order of positions under n strings.
func (l *Layout) checkLayout(t *table, n int) {
	if l.StringsPerPole == 2 && n%2 == 1 {
		t.fail("strings_per_pole", "expected an even number of strings for 2, got %d", n)
		return
	}
	count(t, "string_positions", l.StringPositions, n)
	if poles := l.poleCount(n); l.PolePositions != nil && len(l.PolePositions) != poles {
		t.fail("pole_positions", "expected %d values, one a pole, got %d", poles, len(l.PolePositions))
	}
	for _, list := range []struct {
		key string
		mm  []float64
	}{{"string_positions", l.StringPositions}, {"pole_positions", l.PolePositions}} {
		for i := 1; i < len(list.mm); i++ {
			if list.mm[i]-list.mm[i-1] < closestAcross {
				t.failItem(list.key, i, "expected at least %.4g mm more than the one before (%.4g mm), got %.4g mm", closestAcross, list.mm[i-1], list.mm[i])
				return
			}
		}
	}
	if t.doc.ok() && l.PolePositions != nil && l.StringPositions == nil && n > 1 {
		t.miss("string_positions_mm", "where the strings lie, on the scale of pole_positions_mm")
	}
}

// farthestPole is how far, in mm, a pole may stand from its string, across.
const farthestPole = 12

// checkPolesUnder refuses poles that stand under no string of theirs.
func (l *Layout) checkPolesUnder(t *table, n int) {
	if l.PolePositions == nil || !t.doc.ok() {
		return
	}
	for i, at := range l.StringPositions {
		for _, k := range l.PolesOf(i + 1) {
			if x := l.PolePositions[k-1]; x < at-farthestPole || x > at+farthestPole {
				t.failItem("pole_positions", k-1, "expected within %d mm of string %d at %.4g mm, got %.4g mm: both lists are on one scale, string 1 first", farthestPole, i+1, at, x)
				return
			}
		}
	}
}

// byString turns heights by pole into heights by string: one of a blade is every
// string's, one that two strings share is both's, and of two under one string the mean
// counts. A list that has one height a string stays as it is.
func (l *Layout) byString(heights []float64, of PoleKind, n int) []float64 {
	switch {
	case len(heights) == n || heights == nil:
	case of == Blade && len(heights) == 1:
		return slices.Repeat(heights, n)
	case l.poleCount(n) == len(heights):
		out := make([]float64, n)
		for i := range out {
			for _, k := range l.PolesOf(i + 1) {
				out[i] += heights[k-1] / float64(len(l.PolesOf(i+1)))
			}
		}
		return out
	}
	return heights
}

// readHeights is byString for a list of a table that has the heights of a row of poles.
func (l *Layout) readHeights(t *table, key string, heights []float64, of PoleKind, n int) []float64 {
	out := l.byString(heights, of, n)
	if n > 0 && out != nil && len(out) != n {
		want := fmt.Sprintf("%d values, one a string", n)
		switch poles := l.poleCount(n); {
		case of == Blade:
			want += ", or one for a blade that is level"
		case poles != n:
			want += fmt.Sprintf(", or %d, one a pole", poles)
		}
		t.fail(key, "expected %s, got %d%s", want, len(heights), pairs(n, len(heights)))
	}
	return out
}

// Under is what a pickup has under its strings where that is not one pole each and one
// coil, in the words of the record.
type Under string

// The kinds, each with one coil; "" is one pole under each string. See [Under.TwoCoils].
const (
	UnderBlade    Under = "blade"
	UnderTwoPoles Under = "two poles"
	UnderShared   Under = "shared poles"
)

// twoCoils ends the word for a pickup with two coils.
const twoCoils = "two coils"

// Unders lists the kinds that have one coil.
func Unders() []Under { return []Under{UnderBlade, UnderTwoPoles, UnderShared} }

// TwoCoils is the kind with a second coil.
func (u Under) TwoCoils() Under {
	if u == "" {
		return twoCoils
	}
	return u + ", " + twoCoils
}

// HasTwoCoils reports whether a kind has a second coil.
func (u Under) HasTwoCoils() bool { return strings.HasSuffix(string(u), twoCoils) }

// HeightNote says what pole heights of cells and models are with two coils; "" with one.
func (u Under) HeightNote() string {
	if !u.HasTwoCoils() {
		return ""
	}
	return "pole heights here are not those of either coil: they are of one row that is as loud as both"
}

// Words is the kind for people.
func (u Under) Words() string {
	words := map[Under]string{UnderBlade: "a blade", UnderTwoPoles: "two poles a string", UnderShared: "two strings a pole"}
	for one, text := range words {
		if u == one {
			return text
		}
		if u == one.TwoCoils() {
			return text + " and " + twoCoils
		}
	}
	if u == twoCoils {
		return twoCoils
	}
	return "one pole a string"
}

// under is the kind of a row of poles.
func (l *Layout) under(of PoleKind) Under {
	switch {
	case of == Blade:
		return UnderBlade
	case l.PolesPerString == 2:
		return UnderTwoPoles
	case l.StringsPerPole == 2:
		return UnderShared
	}
	return ""
}

// PolesWords says what stands under the strings, for people: the poles of both coils where
// they differ, and what the words do not say by themselves.
func (o *Order) PolesWords() string {
	poles, under := string(o.Poles), o.Under()
	if c := o.Layout.Coil; c != nil && c.Poles != o.Poles {
		poles += " and " + string(c.Poles)
	}
	switch under {
	case "", UnderBlade:
		return poles
	case UnderBlade.TwoCoils():
		under = twoCoils
	}
	return fmt.Sprintf("%s (%s)", poles, under.Words())
}

// Under is what the ordered pickup has under its strings.
func (o *Order) Under() Under {
	u := o.Layout.under(o.Poles)
	if o.Layout.Coil != nil {
		u = u.TwoCoils()
	}
	return u
}
