package profiles

import (
	"fmt"
	"slices"
	"strings"
)

// unknown returns an error for every key that no reader asked for. To be called
// when all has been read.
func (d *document) unknown() []*Error {
	var errs []*Error
	for _, t := range d.read {
		for key, v := range t.values {
			if !slices.Contains(t.known, key) {
				errs = append(errs, d.errorAt(v.key, key, "unknown key; %s", d.instead(t, key)))
			}
		}
	}
	return errs
}

// instead says what may have been meant by an unknown key of t: a key of another
// table (in TOML a key belongs to the header above it), a key that is written
// much the same, or any that would be right.
func (d *document) instead(t *table, key string) string {
	for _, other := range d.read {
		if other.name != t.name && slices.Contains(other.known, key) {
			return fmt.Sprintf("%q belongs %s", key, other.where())
		}
	}
	if near, ok := nearest(key, t.known); ok {
		return fmt.Sprintf("did you mean %q?", near)
	}
	var names []string
	for _, k := range t.known {
		if !strings.HasSuffix(k, "_in") && !slices.Contains(names, k) {
			names = append(names, k)
		}
	}
	return "expected one of " + strings.Join(names, ", ")
}

// where names the table's place in a file.
func (t *table) where() string {
	switch t.name {
	case "":
		return "at the top of the file, before the first [table]"
	case "string", "compare", "set":
		return "in [[" + t.name + "]]"
	}
	return "in [" + t.name + "]"
}

// nearest returns the name that is spelt most like s, if any is near enough: at
// most two letters in five differ, the unit at its end left aside.
func nearest(s string, names []string) (string, bool) {
	if len(names) == 0 {
		return "", false
	}
	near := slices.MinFunc(names, func(a, b string) int { return edits(s, a) - edits(s, b) })
	stem := stemOf(s)
	return near, edits(stem, stemOf(near)) <= max(1, len(stem)*2/5)
}

// edits is the number of letters to insert, delete or replace that lead from a
// to b (V. Levenshtein, Binary codes capable of correcting deletions,
// insertions, and reversals, 1966).
func edits(a, b string) int {
	row := make([]int, len(b)+1) // distances from the part of a done so far to b[:j]
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			replace := diagonal
			if a[i] != b[j] {
				replace++
			}
			diagonal = row[j+1]
			row[j+1] = min(replace, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// quoted joins choices for a message: "rod", "screw" or "slug".
func quoted(choices []string) string {
	var b strings.Builder
	for i, c := range choices {
		switch {
		case i > 0 && i == len(choices)-1:
			b.WriteString(" or ")
		case i > 0:
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "%q", c)
	}
	return b.String()
}
