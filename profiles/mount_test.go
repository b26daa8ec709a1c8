package profiles

import (
	"math"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
)

func TestReadMount(t *testing.T) {
	path := filepath.Join("testdata", "mount.toml")
	m, err := ReadMount(path, Builtin())
	if err != nil {
		t.Fatal(err)
	}
	estimated, _, _ := EstimateCore(1.1684)
	want := &Mount{
		File: path, Text: []byte(read(t, "mount.toml")),
		Pickup: "harbour 2", Batch: "spring", Poles: Rod,
		PoleHeights:   []float64{0.52, 0.8, 1.91, 1.4, 0.93, -0.1},
		Magnets:       []string{"spring/4", "spring/9", "spring/1", "spring/7", "spring/12", "spring/3"},
		StringHeights: ArcHeights(304.8, 51.5, 6, 3, 3.4),
		ProbeGap:      0.5,
		Strings: []String{
			{Note: "E4", Gauge: 0.254, Core: 0.254, Wrap: "plain"},
			{Note: "B3", Gauge: 0.3302, Core: 0.3302, Wrap: "plain"},
			{Note: "G3", Gauge: 0.4318, Core: 0.4318, Wrap: "plain"},
			{Note: "D3", Gauge: 0.6604, Core: 0.3302, Wrap: "nickel"},
			{Note: "A2", Gauge: 0.9144, Core: 0.37, Wrap: "nickel"},
			{Note: "E2", Gauge: 1.1684, Core: estimated, Wrap: "brass ribbon", CoreEstimated: true},
		},
	}
	if !reflect.DeepEqual(m, want) {
		t.Errorf("got  %+v\nwant %+v", m, want)
	}
	if m.Loose() {
		t.Error("a pickup's mount is taken for loose magnets")
	}
}

func TestReadLooseMagnets(t *testing.T) {
	m, err := ReadMount(filepath.Join("testdata", "loose.toml"), Builtin())
	if err != nil {
		t.Fatal(err)
	}
	if !m.Loose() || m.Batch != "spring" || m.ProbeGap != 0.5 || len(m.Magnets) != 4 || m.Magnets[3] != "spring/24" {
		t.Errorf("got %+v", m)
	}
}

func TestSampleMounts(t *testing.T) {
	for _, file := range files(t, "../../testdata/sample-shop/mounts/*.toml") {
		m, err := ReadMount(file, Builtin())
		if err != nil {
			t.Error(err)
			continue
		}
		if m.Loose() || len(m.Strings) != 6 || len(m.Magnets) != 6 || m.Poles != Rod {
			t.Errorf("%s: got %+v", file, m)
		}
		if !strings.Contains(filepath.Base(file), m.Pickup) {
			t.Errorf("%s: pickup %q", file, m.Pickup)
		}
	}
}

// Without a spread, strings are taken to be 10.4 mm apart when the first is
// plain; a straight line needs no spread at all.
func TestMountWithoutSpread(t *testing.T) {
	text := strings.Replace(read(t, "mount.toml"), "string_spread_mm = 51.5\n", "", 1)
	m, err := ParseMount("m.toml", []byte(text), Builtin())
	if err != nil {
		t.Fatal(err)
	}
	if want := ArcHeights(304.8, 52, 6, 3, 3.4); !slices.Equal(m.StringHeights, want) {
		t.Errorf("got %v, want %v", m.StringHeights, want)
	}

	bass := "pickup = \"deep\"\nbatch = \"b\"\npole_heights_mm = [0, 0, 0, 0]\nset = \"bass 45-105\"\n" +
		"string_height_first_mm = 4\nstring_height_last_mm = 5.5\nfretboard_radius_mm = 0\n"
	m, err = ParseMount("m.toml", []byte(bass), Builtin())
	if err != nil {
		t.Fatal(err)
	}
	if want := []float64{4, 4.5, 5, 5.5}; !slices.Equal(m.StringHeights, want) {
		t.Errorf("got %v, want %v", m.StringHeights, want)
	}
	_, err = ParseMount("m.toml", []byte(strings.Replace(bass, "= 0\n", "= 250\n", 1)), Builtin())
	want := "m.toml:1:1: string_spread_mm: expected a length, as the first string is not plain, but the key is missing"
	if err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

func TestMountSlips(t *testing.T) {
	slips := []slip{
		{"mistyped", "pickup =", "pikup =",
			`m.toml:2:1: pikup: unknown key; did you mean "pickup"?`},
		{"key of a string", "wrap = \"brass ribbon\"", "wrpa = \"brass ribbon\"",
			`m.toml:18:38: wrpa: unknown key; did you mean "wrap"?`},
		{"no pickup", `pickup = "harbour 2"`, "",
			`m.toml:1:1: pickup: expected text, but the key is missing`},
		{"no heights of strings", "string_height_first_mm = 3.0\nstring_height_last_mm = 3.4\n", "",
			`m.toml:1:1: string_heights_in: expected a list of lengths, but the key is missing`},
		{"no radius", "fretboard_radius_in = 12\n", "",
			`m.toml:1:1: fretboard_radius_mm: expected a length, but the key is missing`},
		{"no last height", "string_height_last_mm = 3.4\n", "",
			`m.toml:1:1: string_height_last_in: expected a length, but the key is missing`},
		{"heights and an arc", "string_height_first_mm = 3.0", "string_heights_mm = [3, 3, 3, 3, 3, 3]",
			`m.toml:8:1: string_height_last_mm: expected this or string_heights_mm, got both`},
		{"one pole too few", ", -0.10]", "]",
			`m.toml:5:1: pole_heights_mm: expected 6 values, one a string, got 5`},
		{"one magnet too few", `, "spring/3"]`, "]",
			`m.toml:6:1: magnets: expected 6 values, one a string, got 5`},
		{"one magnet twice", `"spring/3"`, `"spring/9"`,
			`m.toml:6:73: magnets: expected each magnet once, got "spring/9" again`},
		{"no magnet", `"spring/3"`, `""`,
			`m.toml:6:73: magnets: expected a line of text in quotes, got ""`},
		{"pole through its string", "-0.10]", "3.4]",
			`m.toml:5:50: pole_heights_mm: expected pole 6 below its string at 3.4 mm, got 3.4 mm`},
		{"item that is nan", "1.91,", "nan,",
			`m.toml:5:32: pole_heights_mm: expected a finite number, got nan`},
		{"probe at nothing", "probe_gap_mm = 0.5", "probe_gap_mm = 0.02",
			`m.toml:11:16: probe_gap_mm: expected 0.05 to 20 mm, got 0.02; if that is inches, write probe_gap_in`},

		// Strings.
		{"gauge in inches as mm", "gauge_in = 0.010 ", "gauge_mm = 0.010 ",
			`m.toml:13:31: gauge_mm: expected 0.15 to 4 mm, got 0.010; if that is inches, write gauge_in`},
		{"gauge in mm as inches", "gauge_in = 0.010 ", "gauge_in = 0.254 ",
			`m.toml:13:31: gauge_in: expected 0.005906 to 0.1575 in, got 0.254; if that is millimetres, write gauge_mm`},
		{"no gauge", "gauge_in = 0.010 , ", "",
			`m.toml:13:5: gauge_mm: expected a length, but the key is missing`},
		{"no wrap", ", wrap = \"brass ribbon\"", "",
			`m.toml:18:5: wrap: expected what the string is wound with ("plain" for nothing), but the key is missing`},
		{"no note at all", `"A2"`, `"H2"`,
			`m.toml:17:14: note: expected a note such as "E4" or "F#3", got "H2"`},
		{"plain with a thin core", "core_mm = 0.43,", "core_mm = 0.34,",
			`m.toml:15:49: core_mm: expected the gauge (0.4318 mm) of a plain string, got 0.34 mm`},
		{"wound without a wrap", "core_in = 0.013, wrap = \"nickel\"", "core_in = 0.026, wrap = \"nickel\"",
			`m.toml:16:48: core_in: expected less than the gauge (0.026 in (0.6604 mm)) of a wound string, got 0.026 in (0.6604 mm)`},
		{"no strings", "string = [", "string = []\nmagnet = [",
			`m.toml:12:1: string: expected a list of tables, got an empty one`},
		{"a number for a string", "{ note = \"E4\", gauge_in = 0.010 , wrap = \"plain\" }", "10",
			`m.toml:13:5: string: expected a table, got 10`},
		{"open quote", "\"harbour 2\"", "\"harbour 2",
			`m.toml:2:20: basic strings cannot have new lines; the quote at the end of the text is missing`},
		{"text for strings", "string = [", "string = \"10-46\"\nmagnet = [",
			`m.toml:12:10: string: expected a list of tables, got "10-46"`},
	}
	trySlips(t, read(t, "mount.toml"), slips, func(text []byte) error {
		_, err := ParseMount("m.toml", text, Builtin())
		return err
	})
}

func TestLooseMagnetSlips(t *testing.T) {
	slips := []slip{
		{"no batch", `batch = "spring"`, "",
			`l.toml:1:1: batch: expected text, but the key is missing`},
		{"no gap", "probe_gap_mm = 0.5", "",
			`l.toml:1:1: probe_gap_mm: expected a length, but the key is missing`},
		{"one twice", `"spring/24"`, `"spring/21"`,
			`l.toml:3:51: magnets: expected each magnet once, got "spring/21" again`},
		{"no magnets", "magnets =", "#",
			`l.toml:1:1: pickup: expected text, but the key is missing`},
		{"half a pickup", "probe_gap_mm", "pole_heights_mm = [1]\nprobe_gap_mm",
			`l.toml:1:1: pickup: expected text, but the key is missing`},
	}
	trySlips(t, read(t, "loose.toml"), slips, func(text []byte) error {
		_, err := ParseMount("l.toml", text, Builtin())
		return err
	})
}

func TestStringOrderAndCount(t *testing.T) {
	mount := func(gauges ...string) error {
		text := "pickup = \"p\"\nbatch = \"b\"\npole_heights_mm = [0]\nstring_heights_mm = [3]\nstring = [\n"
		for _, g := range gauges {
			text += "{ gauge_in = " + g + ", wrap = \"plain\" },\n"
		}
		_, err := ParseMount("m.toml", []byte(text+"]\n"), Builtin())
		return err
	}
	want := "m.toml:6:1: string: expected string 1 to be the highest-pitched, got strings that run from the thickest to the thinnest"
	if err := mount("0.046", "0.036", "0.026"); err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
	want = "m.toml:18:1: string: expected at most 12 strings, got 13"
	if err := mount(strings.Fields(strings.Repeat("0.010 ", 13))...); err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

// What the first string says of the spacing is a guess: the default's error is
// what its comment says.
func TestSpreadGuessMatters(t *testing.T) {
	near, far := ArcHeights(250, 52, 6, 3, 3.4), ArcHeights(250, 53, 6, 3, 3.4)
	if d := far[2] - near[2]; math.Abs(d-0.05) > 0.01 {
		t.Errorf("1 mm of spread moves string 3 by %.3f mm, want about 0.05", d)
	}
}

// A wrap is called by its one name, however a file spells it, and kept as it is when it
// is the user's own.
func TestMountWraps(t *testing.T) {
	text := read(t, "mount.toml")
	for spelt, want := range map[string]Wrap{"Nickel plated-steel": NickelPlatedSteel, "NPS": NickelPlatedSteel, "brass ribbon": "brass ribbon", "Steel": "Steel"} {
		m, err := ParseMount("m.toml", []byte(strings.Replace(text, "brass ribbon", spelt, 1)), shop(t))
		if err != nil {
			t.Fatal(err)
		}
		if got := m.Strings[len(m.Strings)-1].Wrap; got != want {
			t.Errorf("%q: got %q, want %q", spelt, got, want)
		}
	}
}

// A list of decimals with commas is one of twice as many whole numbers.
func TestListsWithDecimalCommas(t *testing.T) {
	for list, want := range map[string]string{
		"0,4, 0,8, 1,9, 1,4, 0,9, 0,5": "expected -10 to 8 mm, got 9; decimals take a point: 3.1",
		"0,4, 0,8, 1,7, 1,4, 0,7, 0,5": "expected 6 values, one a string, got 12; decimals take a point: 3.1",
		"1, 2, 3, 4, 9, 5":             "expected -10 to 8 mm, got 9",
	} {
		text := "pickup = \"p\"\nbatch = \"b\"\npole_heights_mm = [" + list + "]\nstring_heights_mm = [3, 3, 3, 3, 3, 3]\nset = \"medium 11-49\"\n"
		if _, err := ParseMount("m.toml", []byte(text), Builtin()); err == nil || !strings.HasSuffix(err.Error(), ": pole_heights_mm: "+want) {
			t.Errorf("%s: %v", list, err)
		}
	}
}

// A file of another kind is told to be one.
func TestAMountForAnOrderAndTheOtherWay(t *testing.T) {
	mount, order := read(t, "mount.toml"), read(t, "order.toml")
	if _, err := ParseOrder("m.toml", []byte(mount), Builtin()); err == nil || !strings.HasSuffix(err.Error(), "; this looks like a mount, and an order is wanted") {
		t.Errorf("got %v", err)
	}
	if _, err := ParseMount("o.toml", []byte(order), Builtin()); err == nil || !strings.HasSuffix(err.Error(), "; this looks like an order, and a mount is wanted") {
		t.Errorf("got %v", err)
	}
	for _, err := range []error{second(ParseOrder("r.csv", []byte("time,session\n"), Builtin())), second(ParseMount("m.toml", []byte("pickup = \"a\"\nid = 3\n"), Builtin()))} {
		if err == nil || strings.Contains(err.Error(), "decimals") || !strings.HasPrefix(err.Error(), "r.csv:1:5: expected '='") && !strings.HasPrefix(err.Error(), "m.toml:2:1: id: unknown key") {
			t.Errorf("got %v", err)
		}
	}
}

func second[T any](_ T, err error) error { return err }
