package profiles

import (
	_ "embed"
	"errors"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"sync"
)

// SetsFile is the file in a shop folder that holds the shop's own string sets.
const SetsFile = "strings.toml"

//go:embed builtin.toml
var builtinText []byte

// Library holds string sets by name. It never changes.
type Library struct {
	sets []StringSet
}

// Builtin returns the string sets that come with the program: gauges as they
// are common practice, and the cores of wound strings estimated from them.
func Builtin() *Library { return builtin() }

var builtin = sync.OnceValue(func() *Library {
	sets, err := parseSets("builtin.toml", builtinText)
	if err != nil {
		panic(err) // the file is part of the program, and a test reads it
	}
	return &Library{sets}
})

// LoadLibrary returns the string sets of the shop in a folder, and those built-in ones
// whose names the shop does not use. A shop without a strings.toml has the built-in
// ones alone. A mistake in the file is
// an [*Error].
func LoadLibrary(shopDir string) (*Library, error) {
	path := filepath.Join(shopDir, SetsFile)
	text, err := readText(path)
	if errors.Is(err, fs.ErrNotExist) {
		return Builtin(), nil
	}
	if err != nil {
		return nil, err
	}
	own, err := parseSets(path, text)
	if err != nil {
		return nil, err
	}
	l := &Library{own}
	for _, s := range Builtin().sets {
		if _, taken := l.Set(s.Name); !taken {
			l.sets = append(l.sets, s)
		}
	}
	return l, nil
}

// Set returns the set of a name, and whether there is one.
func (l *Library) Set(name string) (StringSet, bool) {
	for _, s := range l.sets {
		if s.Name == name {
			return s.clone(), true
		}
	}
	return StringSet{}, false
}

// Sets returns all sets, the shop's own first.
func (l *Library) Sets() []StringSet {
	sets := make([]StringSet, len(l.sets))
	for i, s := range l.sets {
		sets[i] = s.clone()
	}
	return sets
}

func (s StringSet) clone() StringSet {
	s.Strings = slices.Clone(s.Strings)
	return s
}

// instead says what may have been meant by the name of a set that is not there.
func (l *Library) instead(name string) string {
	var names []string
	for _, s := range l.sets {
		names = append(names, s.Name)
	}
	if near, ok := nearest(name, names); ok {
		return "did you mean \"" + near + "\"?"
	}
	return "expected one of " + strings.Join(names, ", ")
}

// parseSets reads the [[set]] tables of a file.
func parseSets(file string, text []byte) ([]StringSet, error) {
	d, err := parse(file, text)
	if err != nil {
		return nil, err
	}
	sets := readSets(d)
	if err := d.err(); err != nil {
		return nil, err
	}
	return sets, nil
}

// readSets reads string sets; what is wrong with them is noted in the document.
func readSets(d *document) []StringSet {
	var sets []StringSet
	for _, t := range d.top.tables("set") {
		s := StringSet{Name: t.text("name", required), Source: t.text("source", optional), Strings: readStringTables(t)}
		if s.Source == "" {
			s.Source = "the shop"
		}
		if !t.has("string") {
			t.miss("string", "[[set.string]] tables")
		}
		if slices.ContainsFunc(sets, func(other StringSet) bool { return s.Name != "" && other.Name == s.Name }) {
			t.fail("name", "expected a name that no other set has, got %q again", s.Name)
		}
		sets = append(sets, s)
	}
	return sets
}

// readStrings reads the strings of an order or a mount: a named set, or one
// table a string. It returns no strings only after a mistake was noted.
func readStrings(top *table, l *Library) (set string, list []String) {
	top.either("set", "string")
	set = top.text("set", optional)
	listed := readStringTables(top)
	switch {
	case set != "":
		found, ok := l.Set(set)
		if !ok {
			top.fail("set", "unknown string set %q; %s", set, l.instead(set))
		}
		return set, found.Strings
	case !top.has("string", "set"):
		top.miss("string", `[[string]] tables or set = "NAME"`)
	}
	return "", listed
}
