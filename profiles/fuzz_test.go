package profiles

import (
	"errors"
	"math"
	"path/filepath"
	"slices"
	"testing"
)

// Whatever the text, a reader does not panic; it gives either an *Error with a
// place or something that the rest of the program can count on.
func FuzzParse(f *testing.F) {
	for _, pattern := range []string{"*.toml", "shop/*.toml", "../../testdata/sample-shop/*/*.toml"} {
		for _, file := range files(f, pattern) {
			f.Add([]byte(read(f, filepath.Join("..", file))))
		}
	}
	for _, corner := range []string{
		"a.b.c = 1\n[a.d]\ne = [[1, {f = 2}], 3]\n",
		"[[set]]\nname = 'x'\n[[set.string]]\n[set.string.deep]\n[[set.string]]\ngauge_mm = 1\n",
		"id = 0x1F\r\nset = \"\"\"\na\"\"\"\r\n",
		"\ufeffstring = [{gauge_in = 1_0.0e-3, wrap = \"plain\"}]\npole_heights_mm = [-0]\n",
		"string_heights_mm = [inf]\nmagnets = [\"\", nan, 12:00:00]\n",
	} {
		f.Add([]byte(corner))
	}
	l := shop(f)
	f.Fuzz(func(t *testing.T, text []byte) {
		o, err := ParseOrder("f.toml", text, l)
		if checkError(t, err); err == nil {
			checkStrings(t, o.Strings, o.StringHeights(), o.Offset)
			for _, c := range o.Compare {
				checkStrings(t, o.Strings, c.Heights)
			}
			if o.PoleHeightMin > o.PoleHeightMax || !(o.Tolerance > 0) {
				t.Errorf("order %+v", o)
			}
		}
		m, err := ParseMount("f.toml", text, l)
		if checkError(t, err); err == nil && !m.Loose() {
			checkStrings(t, m.Strings, m.StringHeights, m.PoleHeights)
		}
		sets, err := parseSets("f.toml", text)
		checkError(t, err)
		for _, s := range sets {
			checkStrings(t, s.Strings)
		}
	})
}

func checkError(t *testing.T, err error) {
	var e *Error
	if err != nil && (!errors.As(err, &e) || e.File != "f.toml" || e.Line < 1 || e.Column < 1 || e.Msg == "") {
		t.Errorf("error without a place: %#v", err)
	}
}

func checkStrings(t *testing.T, list []String, perString ...[]float64) {
	if len(list) < 1 || len(list) > MaxStrings {
		t.Errorf("%d strings", len(list))
	}
	for _, s := range list {
		if !(s.Core > 0) || !(s.Gauge >= s.Core) || s.Wrap == "" || s.Plain() && s.Core != s.Gauge {
			t.Errorf("string %+v", s)
		}
	}
	for _, values := range perString {
		bad := func(x float64) bool { return math.IsNaN(x) || math.IsInf(x, 0) }
		if len(values) != len(list) || slices.ContainsFunc(values, bad) {
			t.Errorf("%v for %d strings", values, len(list))
		}
	}
}
