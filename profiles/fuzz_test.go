package profiles

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
)

// Whatever the text, a reader does not panic; it gives either an *Error with a place or
// something that the rest of the program can count on. Seeds are short: the fuzzer tries
// what it may leave out of an input, which grows with the square of its length.

// corners are TOML that is written in ways of its own.
var corners = []string{
	"a.b.c = 1\n[a.d]\ne = [[1, {f = 2}], 3]\n",
	"[[set]]\nname = 'x'\n[[set.string]]\n[set.string.deep]\n[[set.string]]\ngauge_mm = 1\n",
	"id = 0x1F\r\nset = \"\"\"\na\"\"\"\r\n",
	"\ufeffstring = [{gauge_in = 1_0.0e-3, wrap = \"plain\"}]\npole_heights_mm = [-0]\n",
	"string_heights_mm = [inf]\nmagnets = [\"\", nan, 12:00:00]\n",
	"[[batch]]\nname = \"squall\"\n[[batch]]\nname = \"squall\"\n",
}

func seed(f *testing.F, texts ...string) {
	for _, text := range slices.Concat(texts, corners) {
		f.Add([]byte(text))
	}
}

func FuzzOrder(f *testing.F) {
	const two = "id = \"A\"\nstring = [{gauge_mm = 0.3, wrap = \"plain\"}, {gauge_mm = 0.7, core_mm = 0.4, wrap = \"nickel\"}]\n"
	const body = "[instrument]\nfretboard_radius_mm = 300\nstring_spread_mm = 10\n[pickup]\nbatch = \"b\"\npoles = \"rod\"\n" +
		"pole_height_min_mm = 0\npole_height_max_mm = 2\nstring_height_first_mm = 3\nstring_height_last_mm = 3.4\nmin_gap_mm = 1\n"
	good := []string{
		two + body + "[target]\ntolerance_db = 1\n",
		two + body + "pole_heights_in = [0.02, 0.04]\n[target]\ntolerance_db = 1\noffset_db = [0.5, -0.5]\nexcite = \"force\"\n",
		"id = \"H\"\nset = \"quay 10-46\"\n" + strings.Replace(body, "_mm = 10", "_mm = 51.5\nscale_length_in = 25.5\npickup_from_bridge_mm = 118", 1) + "[target]\ntolerance_db = 1\n",
		two + body + "[target]\ntolerance_db = 1\n[[compare]]\nname = \"old\"\nheights_mm = [0.4, 0.8]\n",
	}
	l := shop(f)
	for _, text := range good {
		if _, err := ParseOrder("f.toml", []byte(text), l); err != nil {
			f.Fatal(err)
		}
	}
	seed(f, good...)
	f.Fuzz(func(t *testing.T, text []byte) {
		o, err := ParseOrder("f.toml", text, l)
		if checkError(t, err); err != nil {
			return
		}
		checkStrings(t, o.Strings, o.StringHeights(), o.Offset)
		for _, c := range o.Compare {
			checkStrings(t, o.Strings, c.Heights)
		}
		if o.PoleHeightMin > o.PoleHeightMax || !(o.Tolerance > 0) || !IsName(o.ID) {
			t.Errorf("order %+v", o)
		}
	})
}

func FuzzMount(f *testing.F) {
	const two = "pickup = \"P\"\nbatch = \"b\"\npoles = \"rod\"\npole_heights_mm = [0.5, -0.1]\n"
	good := []string{
		two + "string_heights_mm = [3, 3.2]\nstring = [{note = \"E4\", gauge_in = 0.01, wrap = \"plain\"}, {gauge_in = 0.046, core_mm = 0.4, wrap = \"brass\"}]\n",
		two + "string_height_first_mm = 3\nstring_height_last_mm = 3.4\nfretboard_radius_in = 12\nstring_spread_mm = 10\n" +
			"string = [{gauge_mm = 0.3, wrap = \"plain\"}, {gauge_mm = 0.4, wrap = \"plain\"}]\n",
		"batch = \"b\"\nmagnets = [\"b/1\", \"b/2\"]\nprobe_gap_mm = 0.5\n",
		"pickup = \"P\"\nbatch = \"b\"\npoles = \"screw\"\nset = \"bass 45-105\"\npole_heights_mm = [1]\nstring_heights_mm = [3]\nmagnets = [\"m\"]\nprobe_gap_mm = 1\n",
	}
	l := shop(f)
	for _, text := range good {
		if _, err := ParseMount("f.toml", []byte(text), l); err != nil {
			f.Fatal(err)
		}
	}
	seed(f, good...)
	f.Fuzz(func(t *testing.T, text []byte) {
		m, err := ParseMount("f.toml", text, l)
		if checkError(t, err); err == nil && !m.Loose() {
			checkStrings(t, m.Strings, m.StringHeights, m.PoleHeights)
		}
		if err == nil && (!IsName(m.Pickup) || !IsName(m.Batch) || !every(m.Magnets, IsName)) {
			t.Errorf("names of %+v", m)
		}
	})
}

func FuzzSets(f *testing.F) {
	seed(f, "[[set]]\nname = \"a\"\nsource = \"caliper\"\n[[set.string]]\nnote = \"E4\"\ngauge_in = 0.01\nwrap = \"plain\"\n[[set.string]]\ngauge_mm = 1.2\ncore_mm = 0.5\nwrap = \"nickel\"\n",
		"[[set]]\nname = \"a\"\nstring = [{gauge_mm = 0.5, wrap = \"plain\"}]\n[[set]]\nname = \"a\"\nstring = []\n",
	)
	f.Fuzz(func(t *testing.T, text []byte) {
		sets, err := parseSets("f.toml", text)
		checkError(t, err)
		for _, s := range sets {
			if checkStrings(t, s.Strings); !IsName(s.Name) || s.Name == "" {
				t.Errorf("a set named %q", s.Name)
			}
		}
	})
}

func FuzzBatches(f *testing.F) {
	seed(f, "reference = \"gale\"\nacceptable_percent = 1.5\nlimiting_percent = 8\nproducer_risk_percent = 5\nconsumer_risk_percent = 10\n[[batch]]\nname = \"gale\"\n",
		"[[batch]]\nname = \"squall\"\nmin_mt = 250\nmax_mt = 330\nprobe_gap_in = 0.02\nrod_diameter_in = 0.1875\nrod_length_mm = 16.5\n",
	)
	f.Fuzz(func(t *testing.T, text []byte) {
		b, err := ParseBatches("f.toml", text)
		if checkError(t, err); err != nil {
			return
		}
		shares := []float64{b.Acceptable, b.Limiting, b.ProducerRisk, b.ConsumerRisk}
		if !every(shares, func(x float64) bool { return x >= 0 && x < 0.5 }) {
			t.Errorf("shares %v", shares)
		}
		for _, m := range b.List {
			lengths := []float64{m.Min, m.Max, m.ProbeGap, m.RodDiameter, m.RodLength}
			if found, ok := b.Batch(m.Name); !ok || found != m || m.Name == "" || !every(lengths, func(x float64) bool { return x >= 0 && x < 1e5 }) {
				t.Errorf("batch %+v, found %+v", m, found)
			}
			if m.Max > 0 && m.Max <= m.Min || (m.Min > 0 || m.Max > 0) && m.ProbeGap == 0 || (m.RodDiameter > 0) != (m.RodLength > 0) {
				t.Errorf("batch %+v", m)
			}
		}
	})
}

func every[T any](list []T, holds func(T) bool) bool {
	return !slices.ContainsFunc(list, func(x T) bool { return !holds(x) })
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
