package profiles

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// The built-in sets hang together: names are unique, a set runs from the
// highest note down, no plain string is estimated and every wound one is, and
// the strings of a set pull about equally at a usual scale.
func TestBuiltinSets(t *testing.T) {
	names := map[string]bool{}
	for _, set := range Builtin().Sets() {
		if names[set.Name] {
			t.Errorf("%q stands twice", set.Name)
		}
		names[set.Name] = true
		if set.Source != "common practice; wound cores estimated" {
			t.Errorf("%q: source %q", set.Name, set.Source)
		}
		scale, least, most := 648.0, 45.0, 145.0
		if strings.HasPrefix(set.Name, "bass") {
			scale, least, most = 864, 130, 250
		}
		above := 1e9
		for i, s := range set.Strings {
			hz, err := Pitch(s.Note)
			if courses := len(set.Strings) == 12; err != nil || hz >= above && !courses || courses && i%2 == 1 && hz > above {
				t.Errorf("%q string %d: %q after %.1f Hz (%v)", set.Name, i+1, s.Note, above, err)
			}
			above = hz
			if s.CoreEstimated == s.Plain() {
				t.Errorf("%q string %d: %+v", set.Name, i+1, s)
			}
			if pull := tension(scale, hz, UnitMass(s)); pull < least || pull > most {
				t.Errorf("%q string %d pulls with %.0f N, want %.0f to %.0f", set.Name, i+1, pull, least, most)
			}
		}
	}
	if len(names) < 6 {
		t.Errorf("only %d sets", len(names))
	}
}

func TestShopSetsComeFirst(t *testing.T) {
	l := shop(t)
	sets := l.Sets()
	if len(sets) != len(Builtin().Sets())+1 { // one is new, one takes the place of a built-in set
		t.Errorf("%d sets", len(sets))
	}
	if sets[0].Name != "quay 10-46" || sets[0].Source != "caliper, ends unwound" {
		t.Errorf("first set %+v", sets[0])
	}
	bass, ok := l.Set("bass 45-105")
	if !ok || bass.Source != "the shop" || len(bass.Strings) != 1 {
		t.Errorf("got %+v", bass)
	}
	if _, ok := l.Set("bass"); ok {
		t.Error("found a set that is not there")
	}
}

func TestShopWithoutSets(t *testing.T) {
	l, err := LoadLibrary(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	if l != Builtin() {
		t.Error("expected the built-in library")
	}
}

func TestUnreadableSets(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, SetsFile), 0o777); err != nil {
		t.Fatal(err)
	}
	if _, err := LoadLibrary(dir); err == nil {
		t.Error("a folder in the place of strings.toml passes for a shop without one")
	}
}

// What a caller does to a set stays with the caller.
func TestLibraryNeverChanges(t *testing.T) {
	const name = "medium 11-49"
	before, _ := Builtin().Set(name)
	mine, _ := Builtin().Set(name)
	mine.Strings[0].Gauge = 99
	Builtin().Sets()[0].Strings[0].Gauge = 99
	after, _ := Builtin().Set(name)
	if !slices.Equal(before.Strings, after.Strings) || Builtin().Sets()[0].Strings[0].Gauge == 99 {
		t.Error("a caller changed the library")
	}
}

func TestSetSlips(t *testing.T) {
	path := filepath.Join("shop", "strings.toml")
	base := read(t, path)
	dir := t.TempDir()
	file := filepath.Join(dir, "strings.toml")
	slips := []slip{
		{"no name", `name = "bass 45-105"`, "",
			file + `:32:3: name: expected text, but the key is missing`},
		{"name twice", `"bass 45-105"`, `"quay 10-46"`,
			file + `:33:8: name: expected a name that no other set has, got "quay 10-46" again`},
		{"no strings", "[[set.string]]\ngauge_in = 0.045\nwrap = \"flat steel\"\n", "",
			file + `:32:3: string: expected [[set.string]] tables, but the key is missing`},
		{"strings of no set", "[[set.string]]\ngauge_in = 0.045", "[[string]]\ngauge_in = 0.045",
			file + `:34:3: string: unknown key; "string" belongs in [[set]]`},
		{"no names", "name = \"bass 45-105\"", "[[set]]",
			file + `:32:3: name: expected text, but the key is missing`},
		{"open quote", `"bass 45-105"`, `"bass 45-105`,
			file + `:33:20: basic strings cannot have new lines; the quote at the end of the text is missing`},
		{"mistyped", "source =", "sorce =",
			file + `:3:1: sorce: unknown key; did you mean "source"?`},
		{"core in inches as mm", "core_mm = 0.33", "core_mm = 0.013",
			file + `:19:11: core_mm: expected 0.15 to 4 mm, got 0.013; if that is inches, write core_in`},
	}
	trySlips(t, base, slips, func(text []byte) error {
		if err := os.WriteFile(file, text, 0o666); err != nil {
			t.Fatal(err)
		}
		_, err := LoadLibrary(dir)
		if e := (*Error)(nil); err != nil && !errors.As(err, &e) {
			t.Errorf("%v is no *Error", err)
		}
		return err
	})
}

// Distances by hand.
func TestEdits(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{
		{"", "", 0}, {"", "gap", 3}, {"gap", "", 3}, {"gap", "gap", 0}, {"gap", "gaps", 1},
		{"wrap", "wrpa", 1}, {"core", "cope", 1}, {"core", "ore", 1}, {"note", "batch", 4},
	} {
		if got := edits(c.a, c.b); got != c.want {
			t.Errorf("edits(%q, %q) = %d, want %d", c.a, c.b, got, c.want)
		}
	}
}
