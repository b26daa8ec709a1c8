package profiles

import (
	"math"
	"slices"
	"strings"
	"testing"
)

var formats = []*Format{OrderFormat, MountFormat, SetsFormat, BatchesFormat, ShopFormat}

// TestHelpHasEveryKey: a key that a reader asks for is described, and no other.
func TestHelpHasEveryKey(t *testing.T) {
	for _, f := range formats {
		for i, asked := range f.asked() {
			s := f.sections[i]
			var reads, says []string
			for _, a := range asked {
				if !isTable(f, s.head, a.key) {
					reads = append(reads, a.key)
				}
			}
			for _, e := range s.entries {
				says = append(says, e.key)
			}
			slices.Sort(reads)
			slices.Sort(says)
			if reads = slices.Compact(reads); !slices.Equal(reads, says) {
				t.Errorf("%s, %q: the reader asks for %q, the help has %q", f.Name, s.head, reads, says)
			}
		}
	}
}

// isTable reports whether a key under a head has a section of its own.
func isTable(f *Format, head, key string) bool {
	under := strings.Trim(head, "[]")
	if under != "" {
		under += "."
	}
	return slices.ContainsFunc(f.sections, func(s section) bool { return strings.Trim(s.head, "[]") == under+key })
}

// TestNewFilesAreRead: an example, a new file as it is written, and a new file with any
// one of its optional keys put in, say what their readers take, in mm and in inches.
func TestNewFilesAreRead(t *testing.T) {
	for _, f := range formats {
		for _, units := range AllUnits() {
			var short, full strings.Builder
			if err := f.WriteExample(&short, units); err != nil {
				t.Fatal(err)
			}
			if err := f.WriteNew(&full, units); err != nil {
				t.Fatal(err)
			}
			for _, text := range []string{short.String(), full.String()} {
				if err := f.try(text); err != nil {
					t.Errorf("%v of\n%s", err, text)
				}
			}
			for _, s := range f.sections {
				for _, e := range s.entries {
					if e.unused && !s.unused {
						tryKey(t, f, full.String(), s.head, e)
					}
				}
			}
		}
	}
}

// try reads a text as a file of the format.
func (f *Format) try(text string) error {
	d, err := parse(f.Name, []byte(text))
	if err != nil {
		return err
	}
	f.read(d)
	return d.err()
}

// tryKey reads a new file with one optional key put in. Keys that want others beside
// them are refused by name.
func tryKey(t *testing.T, f *Format, text, head string, e entry) {
	t.Helper()
	var out []string
	found, here := false, head == ""
	for line := range strings.Lines(text) {
		if h := strings.TrimPrefix(strings.TrimSpace(line), "# "); strings.HasPrefix(h, "[") && !strings.Contains(h, "=") {
			here = h == head
		}
		name := strings.TrimPrefix(line, "# ")
		if here && (strings.HasPrefix(name, e.key+" = ") || strings.HasPrefix(name, e.key+"_mm = ") || strings.HasPrefix(name, e.key+"_in = ")) {
			found, line = true, name
		}
		for _, other := range strings.Split(e.inPlaceOf, ",") {
			if other != "" && strings.HasPrefix(line, other) && !strings.HasPrefix(line, e.key) {
				line = "# " + line
			}
		}
		out = append(out, line)
	}
	if !found {
		t.Errorf("%s: a new file has no %s", f.Name, e.key)
	}
	err := f.try(strings.Join(out, ""))
	if err != nil && !strings.Contains(err.Error(), "beside it") && !strings.Contains(err.Error(), "but the key is missing") {
		t.Errorf("%s with %s: %v", f.Name, e.key, err)
	}
}

// TestKeysSayUnits: limits are said in the unit of the key.
func TestKeysSayUnits(t *testing.T) {
	want := map[string]string{"resistance_ohm": "1 to 200000 ohm", "tolerance_db": "0.01 to 20 dB", "min_gap_mm": "0 or 0.2 to 10 mm", "poles": `"rod", "screw", "slug" or "blade"`, "pole_heights_mm": "a list, each -10 to 8 mm"}
	for _, k := range OrderFormat.Keys() {
		if w, ok := want[k.Name]; ok && k.Takes != w {
			t.Errorf("%s takes %s, want %s", k.Name, k.Takes, w)
		}
		delete(want, k.Name)
	}
	if len(want) > 0 {
		t.Errorf("no help on %v", want)
	}
}

// TestExamplesBelongTogether: the strings of the mount that help and new files show stand where
// the order that they show has them, so that a check of the one against the other does not
// warn of heights.
func TestExamplesBelongTogether(t *testing.T) {
	read := func(f *Format) string {
		var text strings.Builder
		if err := f.WriteExample(&text, Millimetres); err != nil {
			t.Fatal(err)
		}
		return text.String()
	}
	order, err := ParseOrder("order.toml", []byte(read(OrderFormat)), Builtin())
	if err != nil {
		t.Fatal(err)
	}
	mount, err := ParseMount("mount.toml", []byte(read(MountFormat)), Builtin())
	if err != nil {
		t.Fatal(err)
	}
	want := order.StringHeights()
	for i, h := range mount.StringHeights {
		if math.Abs(h-want[i]) > 0.05 {
			t.Errorf("string %d of %s: mount %.2f mm, order %.2f mm", i+1, mount.Pickup, h, want[i])
		}
	}
}

// TestWrapSaysWhenItIsNeeded: of a string without a wrap its core has to tell that it is plain.
func TestWrapSaysWhenItIsNeeded(t *testing.T) {
	for _, f := range []*Format{OrderFormat, MountFormat, SetsFormat} {
		for _, k := range f.Keys() {
			if k.Name == "wrap" && !strings.HasSuffix(k.Says, "; needed unless core is the gauge") {
				t.Errorf("%s, %s: wrap is said to be %q", f.Name, k.Section, k.Says)
			}
		}
	}
}
