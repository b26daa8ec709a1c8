package profiles

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// Whether a key has to be there.
const (
	required = true
	optional = false
)

// find returns the value of a key, nil when it is not there (which is noted
// when it has to be).
func (t *table) find(key string, need bool, kind string) *value {
	t.known = append(t.known, key)
	t.asked = append(t.asked, asked{key: key, need: need, kind: kind})
	v := t.values[key]
	if v == nil && need {
		t.miss(key, kind)
	}
	return v
}

// findLength is find for a length that may be given in either unit; it returns
// the key as well, which tells the unit.
func (t *table) findLength(stem string, need bool, kind string) (string, *value) {
	mm, in := stem+"_mm", stem+"_in"
	t.known = append(t.known, mm, in)
	t.asked = append(t.asked, asked{key: stem, need: need, kind: kind, length: true})
	v, w := t.values[mm], t.values[in]
	switch {
	case v != nil && w != nil:
		t.doc.fail(w.key, in, "expected this or %s, got both", mm)
	case w != nil:
		return in, w
	case v == nil && need:
		t.miss(mm, kind)
	}
	return mm, v
}

// within notes the limits of the key that was asked for last.
func (t *table) within(s span) { t.asked[len(t.asked)-1].limits = s }

// lookup returns the name and value of a key, with or without its unit.
func (t *table) lookup(stem string) (string, *value) {
	for _, key := range []string{stem, stem + "_mm", stem + "_in"} {
		if v := t.values[key]; v != nil {
			return key, v
		}
	}
	return stem, nil
}

// has reports whether any of the keys is there, with or without its unit.
func (t *table) has(stems ...string) bool {
	return slices.ContainsFunc(stems, func(stem string) bool {
		_, v := t.lookup(stem)
		return v != nil
	})
}

// either refuses the second key beside the first: they say the same thing in
// two ways.
func (t *table) either(first, second string) {
	one, v := t.lookup(first)
	other, w := t.lookup(second)
	if v != nil && w != nil {
		t.doc.fail(w.key, other, "expected this or %s, got both", one)
	}
}

// unitsOf is the unit of most lengths that stand in tables of a file themselves; mm where there
// are as many of either.
func unitsOf(tables ...*table) Units {
	inches := 0
	for _, t := range tables {
		for key := range t.values {
			switch {
			case strings.HasSuffix(key, "_in"):
				inches++
			case strings.HasSuffix(key, "_mm"):
				inches--
			}
		}
	}
	if inches > 0 {
		return Inches
	}
	return Millimetres
}

// units is the unit of most lengths in the file.
func (d *document) units() Units { return unitsOf(d.top.andWithin()...) }

// andWithin is a table and those in it.
func (t *table) andWithin() []*table {
	if t == nil {
		return nil
	}
	all := []*table{t}
	for _, v := range t.values {
		all = append(all, v.table.andWithin()...)
		for _, item := range v.list {
			all = append(all, item.table.andWithin()...)
		}
	}
	return all
}

// text reads a text: not empty, on one line, spaces at its ends dropped.
func (t *table) text(key string, need bool) string {
	if v := t.find(key, need, "text"); v != nil {
		return t.textOf(key, v)
	}
	return ""
}

func (t *table) textOf(key string, v *value) string {
	s := strings.TrimSpace(v.text)
	if v.kind != unstable.String || s == "" || !IsName(s) {
		t.doc.fail(v.at, key, "expected a line of text in quotes, got %s", v.found())
		return ""
	}
	return s
}

// texts reads a list of texts.
func (t *table) texts(key string, need bool) []string {
	var texts []string
	for _, v := range t.items(key, t.find(key, need, "a list of texts"), "texts") {
		texts = append(texts, t.textOf(key, v))
	}
	return texts
}

// oneOf reads a text that must be one of the choices.
func oneOf[T ~string](t *table, key string, need bool, choices ...T) T {
	v := t.find(key, need, quoted(choices))
	for _, c := range choices {
		a := &t.asked[len(t.asked)-1]
		a.choices = append(a.choices, string(c))
	}
	if v == nil {
		return ""
	}
	if v.kind != unstable.String || !slices.Contains(choices, T(v.text)) {
		t.doc.fail(v.at, key, "expected %s, got %s", quoted(choices), v.found())
		return ""
	}
	return T(v.text)
}

// number reads a number within its limits.
func (t *table) number(key string, need bool, s span) float64 {
	v := t.find(key, need, "a number")
	t.within(s)
	if v == nil {
		return 0
	}
	return t.quantity(key, v, s)
}

// whole reads a whole number within its limits; 0 where it is not there.
func (t *table) whole(key string, need bool, s span) int {
	x := t.number(key, need, s)
	if x != math.Trunc(x) {
		t.fail(key, "expected a whole number, got %.4g", x)
	}
	return int(x)
}

// numbers reads a list of them.
func (t *table) numbers(key string, need bool, s span) []float64 {
	v := t.find(key, need, "a list of numbers")
	t.within(s)
	return t.quantities(key, v, s)
}

// length reads a length within its limits and returns it in mm.
func (t *table) length(stem string, need bool, s span) float64 {
	key, v := t.findLength(stem, need, "a length")
	t.within(s)
	if v == nil {
		return 0
	}
	return t.quantity(key, v, s)
}

// lengths reads a list of them.
func (t *table) lengths(stem string, need bool, s span) []float64 {
	key, v := t.findLength(stem, need, "a list of lengths")
	t.within(s)
	return t.quantities(key, v, s)
}

// items returns the values of a list, nil for none.
func (t *table) items(key string, v *value, kind string) []*value {
	switch {
	case v == nil:
		return nil
	case v.kind != unstable.Array:
		t.doc.fail(v.at, key, "expected a list of %s, got %s", kind, v.found())
	case len(v.list) == 0:
		t.doc.fail(v.at, key, "expected a list of %s, got an empty one", kind)
	}
	return v.list
}

func (t *table) quantities(key string, v *value, s span) []float64 {
	var xs []float64
	items, before := t.items(key, v, "numbers"), len(t.doc.errs)
	for _, item := range items {
		xs = append(xs, t.quantity(key, item, s))
	}
	if len(t.doc.errs) > before && mayBeDecimals(items) {
		t.doc.errs[before].Msg += decimalPoint
	}
	return xs
}

// mayBeDecimals reports whether a list may be half as many numbers with decimal commas: it
// would be leastInPairs of them at least.
func mayBeDecimals(items []*value) bool {
	const leastInPairs = 4
	fraction := func(v *value) bool { return v.kind != unstable.Integer }
	return len(items) >= 2*leastInPairs && len(items)%2 == 0 && !slices.ContainsFunc(items, fraction)
}

var withComma = regexp.MustCompile(`^[+-]?[0-9]*,[0-9]+$`)

// commaIn is what to do about a text that is a number with a decimal comma.
func commaIn(text string) string {
	if withComma.MatchString(strings.TrimSpace(text)) {
		return decimalPoint
	}
	return ""
}

// pairs is what to do about a list that has twice as many values as it should: numbers with
// decimal commas are two each.
func pairs(want, got int) string {
	if got == 2*want {
		return decimalPoint
	}
	return ""
}

// quantity checks one number against its limits; a length comes back in mm.
func (t *table) quantity(key string, v *value, s span) float64 {
	x, ok := v.number()
	u := unitOf(key)
	switch {
	case !ok:
		t.doc.fail(v.at, key, "expected a number, got %s%s", v.found(), commaIn(v.text))
	case math.IsNaN(x) || math.IsInf(x, 0):
		t.doc.fail(v.at, key, "expected a finite number, got %s", v.found())
	case !s.has(u.toBase(x)):
		t.doc.fail(v.at, key, "expected %s, got %s%s", s.in(u), v.found(), otherUnit(key, x, s))
	default:
		return u.toBase(x)
	}
	return 0
}

// table reads a table. One that is not there is empty and misses nothing.
func (t *table) table(key string, need bool) *table {
	v := t.find(key, need, "a table")
	if v == nil || v.table == nil {
		if v != nil {
			t.doc.fail(v.at, key, "expected a table, got %s", v.found())
		}
		none := t.doc.newTable(key, t.at)
		none.absent = true
		return t.doc.opened(none)
	}
	return t.doc.opened(v.table)
}

// tables reads a list of tables, which may be empty.
func (t *table) tables(key string) []*table {
	v := t.find(key, optional, "")
	if v != nil && v.table != nil {
		t.doc.fail(v.at, key, "expected [[%s]], with two brackets, or a list of tables, got one table", key)
		return nil
	}
	var tables []*table
	for _, item := range t.items(key, v, "tables") {
		if item.table == nil {
			t.doc.fail(item.at, key, "expected a table, got %s", item.found())
			continue
		}
		tables = append(tables, t.doc.opened(item.table))
	}
	return tables
}

// miss notes that a key is not there.
func (t *table) miss(key, kind string) {
	if !t.absent {
		u := t.doc.units()
		t.doc.missing = append(t.doc.missing, t.doc.errorAt(t.at, keysIn(u, key), "expected %s, but the key is missing", keysIn(u, kind)))
	}
}

// fail notes that the value of a key is wrong. The key may lack its unit.
func (t *table) fail(stem, format string, args ...any) {
	at := t.at
	key, v := t.lookup(stem)
	if v != nil {
		at = v.at
	}
	t.doc.fail(at, key, "%s", t.doc.in(key, format, args...))
}

// failItem is fail for item i, counted from 0, of a list.
func (t *table) failItem(stem string, i int, format string, args ...any) {
	key, v := t.lookup(stem)
	t.doc.fail(v.list[i].at, key, "%s", t.doc.in(key, format, args...))
}

// in is a sentence about the value of a key, whose lengths are in mm: in the units that the key
// is in, else in those of the file.
func (d *document) in(key, format string, args ...any) string {
	u := Millimetres
	if strings.HasSuffix(key, "_in") || unitOf(key).name == "mm" && stemOf(key) == key && d.units() == Inches {
		u = Inches
	}
	return keysIn(u, u.Text(fmt.Sprintf(format, args...)))
}

// keysIn is a sentence about a file in units: its keys are named by them.
func keysIn(u Units, sentence string) string {
	if u != Inches {
		return sentence
	}
	return aKeyInMM.ReplaceAllStringFunc(sentence, func(key string) string { return stemOf(key) + "_in" })
}

// failUnder is failItem for what is under string i, in a list that may have fewer or more
// items than there are strings.
func (t *table) failUnder(stem string, i int, format string, args ...any) {
	if _, v := t.lookup(stem); i >= len(v.list) {
		t.fail(stem, format, args...)
		return
	}
	t.failItem(stem, i, format, args...)
}

// count refuses a list that does not have one value for each of n strings. A
// list that was not given is nil and passes.
func count[T any](t *table, stem string, list []T, n int) {
	if list != nil && len(list) != n {
		t.fail(stem, "expected %d values, one a string, got %d%s", n, len(list), pairs(n, len(list)))
	}
}

// ok reports whether all that was read so far is right, so that values can be checked
// against each other.
func (d *document) ok() bool { return len(d.errs) == 0 && len(d.missing) == 0 }

// err returns what is wrong: the first mistake in the file, else the first key
// that is missing, else nil.
func (d *document) err() error {
	errs := append(d.unknown(), d.errs...)
	if len(errs) > 0 {
		return slices.MinFunc(errs, func(a, b *Error) int {
			return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column), cmp.Compare(a.Msg, b.Msg))
		})
	}
	if len(d.missing) > 0 {
		return d.missing[0]
	}
	return nil
}

// mistaken adds to what is wrong with a file that it looks like one of another kind, where it
// has keys that only those have.
func (d *document) mistaken(err error, words string, keys ...string) error {
	var wrong *Error
	if errors.As(err, &wrong) && d.top.has(keys...) {
		wrong.Msg += words
	}
	return err
}
