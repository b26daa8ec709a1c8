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
	case "string", "compare", "alternative", "set":
		return "in [[" + t.name + "]]"
	}
	return "in [" + t.name + "]"
}

// nearest returns the one of names, of which there is at least one, that is spelt
// most like s, and whether it is near enough: at most two letters in five
// differ, the unit at its end left aside. Capitals do not count.
func nearest(s string, names []string) (string, bool) {
	if i := slices.IndexFunc(names, func(name string) bool { return strings.EqualFold(s, name) }); i >= 0 {
		return names[i], true
	}
	near := slices.MinFunc(names, func(a, b string) int { return edits(s, a) - edits(s, b) })
	stem := stemOf(s)
	return near, edits(stem, stemOf(near)) <= max(1, len(stem)*2/5)
}

// edits is the number of letters to insert, delete, replace or swap with their
// neighbour that lead from a to b (F. J. Damerau, A technique for computer
// detection and correction of spelling errors, 1964).
func edits(a, b string) int {
	d := make([][]int, len(a)+1) // d[i][j]: from a[:i] to b[:j]
	for i := range d {
		d[i] = make([]int, len(b)+1)
		d[i][0] = i
	}
	for j := range d[0] {
		d[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			replace := d[i-1][j-1]
			if a[i-1] != b[j-1] {
				replace++
			}
			d[i][j] = min(replace, d[i-1][j]+1, d[i][j-1]+1)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				d[i][j] = min(d[i][j], d[i-2][j-2]+1)
			}
		}
	}
	return d[len(a)][len(b)]
}

// quoted joins choices for a message: "rod", "screw" or "slug".
func quoted[T ~string](choices []T) string {
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
