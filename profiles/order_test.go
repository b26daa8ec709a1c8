package profiles

import (
	"errors"
	"io/fs"
	"math"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
)

func TestReadOrder(t *testing.T) {
	path := filepath.Join("testdata", "order.toml")
	o, err := ReadOrder(path, shop(t))
	if err != nil {
		t.Fatal(err)
	}
	quay, _ := shop(t).Set("quay 10-46")
	want := &Order{
		File: path, ID: "H-031",
		Units:           Millimetres,
		FretboardRadius: 304.8, StringSpread: 51.5, ScaleLength: 647.7, PickupFromBridge: 118,
		Batch: "spring", Poles: Rod, PoleHeightMax: 2.6,
		PoleHeights: []float64{0.508, 1.016, 1.524, 2.032}, // 0.12 in is beyond the highest
		MinGap:      1.2, StringHeightFirst: 3, StringHeightLast: 3.4,
		Offset: []float64{0.5, 0, 0, 0, 0, -0.5}, Tolerance: 1, Excite: "force",
		Set: "quay 10-46", Strings: quay.Strings,
		Compare: []Stagger{{"the old pickup's poles", []float64{0.4, 0.8, 1.9, 1.4, 0.9, 0.5}}},
	}
	if !reflect.DeepEqual(o, want) {
		t.Errorf("got  %+v\nwant %+v", o, want)
	}
}

// What an order may say beside what every order says.
func TestOrderExtensions(t *testing.T) {
	text := strings.Replace(string(read(t, "order.toml")), "poles =", `magnets = ["spring/3", "spring/1", "spring/2", "spring/9", "spring/7", "spring/8"]
pole_heights_fixed_mm = [0.4, 0.8, 1.9, 1.4, 0.9, 0.5]
pickup_raise_mm = 0.8
former_depth_in = 0.44
setting_error_mm = 0.03
screw_pitch_mm = 0.7
string_swing_mm = 0.6
poles =`, 1) + `
[[alternative]]
set = "wound-third 12-52"
[[alternative]]
name = "what hangs on it now"
[[alternative.string]]
gauge_in = 0.010
wrap = "plain"
` + strings.Repeat("[[alternative.string]]\ngauge_in = 0.030\ncore_in = 0.014\nwrap = \"nickel\"\n", 5)
	o, err := ParseOrder("o.toml", []byte(text), shop(t))
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"spring/3", "spring/1", "spring/2", "spring/9", "spring/7", "spring/8"}; !slices.Equal(o.Magnets, want) {
		t.Errorf("magnets: got %q, want %q", o.Magnets, want)
	}
	got := []float64{o.FixedHeights[2], o.PickupRaise, o.PickupLower, o.FormerDepth, o.SettingError, o.StringSwing, o.ScrewPitch}
	if want := []float64{1.9, 0.8, 1.5, 11.176, 0.03, 0.6, 0.7}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	wound, _ := Builtin().Set("wound-third 12-52")
	a := o.Alternatives
	if len(a) != 2 || a[0].Name != wound.Name || !slices.Equal(a[0].Strings, wound.Strings) ||
		a[1].Name != "what hangs on it now" || len(a[1].Strings) != 6 || a[1].Strings[5].Core != 0.3556 {
		t.Errorf("alternatives: got %+v", a)
	}
}

// A coil's resistance may be ordered, with or without a tolerance; a tolerance
// of nothing is a slip.
func TestOrderedResistance(t *testing.T) {
	with := func(lines string) (*Order, error) {
		text := strings.Replace(string(read(t, "order.toml")), "[target]\n", "[target]\n"+lines, 1)
		return ParseOrder("o.toml", []byte(text), shop(t))
	}
	o, err := with("resistance_ohm = 6200\nresistance_tolerance_percent = 5\n")
	if err != nil || o.Resistance != 6200 || o.ResistanceTolerance != 5 {
		t.Errorf("got %v, %v", o, err)
	}
	if o, err = with("resistance_ohm = 6200\n"); err != nil || o.Resistance != 6200 || o.ResistanceTolerance != 0 {
		t.Errorf("got %v, %v", o, err)
	}
	if _, err = with("resistance_tolerance_percent = 5\n"); err == nil || !strings.Contains(err.Error(), "expected resistance_ohm beside it") {
		t.Errorf("got %v", err)
	}
}

func TestSampleOrders(t *testing.T) {
	counts := map[string]int{"A-005": 7}
	for _, file := range files(t, "../../testdata/sample-shop/orders/*.toml") {
		o, err := ReadOrder(file, Builtin())
		if err != nil {
			t.Error(err)
			continue
		}
		n := 6
		if s, ok := counts[o.ID]; ok {
			n = s
		}
		if len(o.Strings) != n || len(o.Offset) != n || len(o.StringHeights()) != n {
			t.Errorf("%s: %d strings, %d offsets, %d string heights, want %d", file,
				len(o.Strings), len(o.Offset), len(o.StringHeights()), n)
		}
		estimated := o.Strings[n-1].CoreEstimated
		if want := o.ID == "A-003"; estimated != want {
			t.Errorf("%s: core of the last string estimated: %v, want %v", file, estimated, want)
		}
	}
}

// The same order in inches, in millimetres and in TOML's other spellings of a
// table is the same order.
func TestSpellings(t *testing.T) {
	const (
		inches  = `string = [{gauge_in = 0.013, wrap = "plain"}, {gauge_in = 0.026, core_in = 0.0125, wrap = "nickel"}]` + "\n"
		mm      = `string = [{gauge_mm = 0.3302, wrap = "plain"}, {gauge_mm = 0.6604, core_mm = 0.3175, wrap = "nickel"}]` + "\n"
		headers = "[instrument]\nfretboard_radius_mm = 254\nstring_spread_mm = 10\n[target]\ntolerance_db = 1\n"
		inline  = "instrument = {fretboard_radius_in = 10, string_spread_mm = 1_0}\ntarget = {tolerance_db = 1.0}\n"
		dotted  = "instrument.fretboard_radius_mm = 0xFE\ninstrument.string_spread_mm = 10\ntarget.tolerance_db = 1\n"
		pickup  = "[pickup]\nbatch = \"b\"\npoles = \"screw\"\npole_height_min_mm = 0\npole_height_max_mm = 2\n" +
			"min_gap_mm = 1\nstring_height_first_mm = 3\nstring_height_last_mm = 3\n"
		id = "id = \"x\"\n"
	)
	var first *Order
	for _, text := range []string{
		id + mm + headers + pickup,
		id + inches + headers + pickup,
		"\ufeff" + id + mm + inline + pickup,
		id + mm + dotted + pickup,
	} {
		o, err := ParseOrder("x.toml", []byte(text), Builtin())
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = o
		}
		if !reflect.DeepEqual(o, first) {
			t.Errorf("got  %+v\nwant %+v", o, first)
		}
	}
}

func TestOrderSlips(t *testing.T) {
	slips := []slip{
		// Keys.
		{"mistyped", "pole_height_min_mm", "pole_hieght_min_mm",
			`o.toml:14:1: pole_hieght_min_mm: unknown key; did you mean "pole_height_min_mm"?`},
		{"without its unit", "string_spread_mm", "string_spread",
			`o.toml:7:1: string_spread: unknown key; did you mean "string_spread_mm"?`},
		{"mistyped in inches", "scale_length_in", "scale_lenght_in",
			`o.toml:8:1: scale_lenght_in: unknown key; did you mean "scale_length_in"?`},
		{"like no other", "excite =", "colour =",
			`o.toml:24:1: colour: unknown key; expected one of offset_db, tolerance_db, excite, resistance_ohm, resistance_tolerance_percent`},
		{"under the wrong header", "excite =", "batch =",
			`o.toml:24:1: batch: unknown key; "batch" belongs in [pickup]`},
		{"set under a header", "excite =", "set =",
			`o.toml:24:1: set: unknown key; "set" belongs at the top of the file, before the first [table]`},
		{"unknown table", "[[compare]]", "[[rival]]",
			`o.toml:26:3: rival: unknown key; expected one of id, customer, product, serial, operator, instrument, pickup, target, pair, set, string, alternative, compare`},
		{"both units", "batch =", "min_gap_in = 0.05\nbatch =",
			`o.toml:12:1: min_gap_in: expected this or min_gap_mm, got both`},
		{"step and stock", "pole_heights_in", "pole_height_step_mm = 0.1\npole_heights_in",
			`o.toml:17:1: pole_heights_in: expected this or pole_height_step_mm, got both`},
		{"set and strings", "[target]", "[[string]]\n[target]",
			`o.toml:21:3: string: expected this or set, got both`},
		{"twice", "min_gap_mm = 1.2", "min_gap_mm = 1.2\nmin_gap_mm = 1.3",
			`o.toml:18:1: min_gap_mm: key min_gap_mm is already defined`},
		{"table twice", "[target]", "[pickup]",
			`o.toml:21:2: pickup: table pickup already exists; a header that stands more than once takes two brackets, such as [[string]]`},

		// What is missing.
		{"no id", "id = \"H-031\"", "",
			`o.toml:1:1: id: expected text, but the key is missing`},
		{"no length", "string_height_last_mm = 3.4", "",
			`o.toml:11:2: string_height_last_mm: expected a length, but the key is missing`},
		{"no poles", "poles = \"rod\"\n", "",
			`o.toml:11:2: poles: expected "rod", "screw", "slug" or "blade", but the key is missing`},
		{"no tolerance", "tolerance_db = 1.0", "",
			`o.toml:21:2: tolerance_db: expected a number, but the key is missing`},
		{"no strings", "set = \"quay 10-46\"", "",
			`o.toml:1:1: string: expected [[string]] tables or set = "NAME", but the key is missing`},

		// Values of the wrong kind.
		{"text for a number", "118.0", `"118 mm"`,
			`o.toml:9:25: pickup_from_bridge_mm: expected a number, got "118 mm"`},
		{"number for a text", `"spring"`, "7",
			`o.toml:12:9: batch: expected a line of text in quotes, got 7`},
		{"empty text", `"spring"`, `" "`,
			`o.toml:12:9: batch: expected a line of text in quotes, got " "`},
		{"two lines", `"spring"`, `"spring\nautumn"`,
			`o.toml:12:9: batch: expected a line of text in quotes, got "spring\nautumn"`},
		{"not a number", "min_gap_mm = 1.2", "min_gap_mm = nan",
			`o.toml:17:14: min_gap_mm: expected a finite number, got nan`},
		{"no end", "min_gap_mm = 1.2", "min_gap_mm = -inf",
			`o.toml:17:14: min_gap_mm: expected a finite number, got -inf`},
		{"a date", "min_gap_mm = 1.2", "min_gap_mm = 2026-01-02",
			`o.toml:17:14: min_gap_mm: expected a number, got 2026-01-02`},
		{"one for a list", "[0.02, 0.04, 0.06, 0.08, 0.12]", "0.02",
			`o.toml:16:19: pole_heights_in: expected a list of numbers, got 0.02`},
		{"empty list", "[0.02, 0.04, 0.06, 0.08, 0.12]", "[]",
			`o.toml:16:1: pole_heights_in: expected a list of numbers, got an empty one`},
		{"list for one", "min_gap_mm = 1.2", "min_gap_mm = [1.2]",
			`o.toml:17:1: min_gap_mm: expected a number, got a list`},
		{"list in a list", "0.04,", "[0.04],",
			`o.toml:16:1: pole_heights_in: expected a number, got a list`},
		{"tables for one", "[target]", "[[target]]",
			`o.toml:21:3: target: expected a table, got a list`},
		{"one for tables", "[[compare]]", "[compare]",
			`o.toml:26:2: compare: expected [[compare]], with two brackets, or a list of tables, got one table`},
		{"number for a table", "[[compare]]\nname = \"the old pickup's poles\"\nheights_mm = [0.4, 0.8, 1.9, 1.4, 0.9, 0.5]", "compare = [1]",
			`o.toml:26:1: compare: unknown key; "compare" belongs at the top of the file, before the first [table]`},

		// Values out of their limits.
		{"negative radius", "fretboard_radius_in = 12", "fretboard_radius_in = -12",
			`o.toml:6:23: fretboard_radius_in: expected 0 or 0.9843 to 118.1 in, got -12`},
		{"inches as mm", "fretboard_radius_in", "fretboard_radius_mm",
			`o.toml:6:23: fretboard_radius_mm: expected 0 or 25 to 3000 mm, got 12; if that is inches, write fretboard_radius_in`},
		{"mm as inches", "string_height_first_mm", "string_height_first_in",
			`o.toml:18:26: string_height_first_in: expected 0.01969 to 1.181 in, got 3.0; if that is millimetres, write string_height_first_mm`},
		{"mm as inches, scale", "scale_length_in = 25.5", "scale_length_in = 648",
			`o.toml:8:19: scale_length_in: expected 5.906 to 78.74 in, got 648; if that is millimetres, write scale_length_mm`},
		{"inches as mm, spread", "string_spread_mm = 51.5", "string_spread_mm = 2.0",
			`o.toml:7:20: string_spread_mm: expected 7.5 to 200 mm for 6 strings, got 2; if that is inches, write string_spread_in`},
		{"inches as mm, item", "heights_mm = [0.4,", "heights_in = [0.4,",
			`o.toml:28:15: heights_in: expected -0.3937 to 0.315 in, got 0.4; if that is millimetres, write heights_mm`},
		{"no tolerance at all", "tolerance_db = 1.0", "tolerance_db = 0",
			`o.toml:23:16: tolerance_db: expected 0.01 to 20 dB, got 0`},
		{"offset out of reach", "0, -0.5]", "0, -50]",
			`o.toml:22:31: offset_db: expected -20 to 20 dB, got -50`},
		{"unknown pole", `"rod"`, `"bar"`,
			`o.toml:13:9: poles: expected "rod", "screw", "slug" or "blade", got "bar"`},
		{"unknown excitation", `"force"`, `"drive"`,
			`o.toml:24:10: excite: expected "travel" or "force", got "drive"`},

		// Values that do not fit each other.
		{"radius below half the spread", "fretboard_radius_in = 12", "fretboard_radius_mm = 25.5",
			`o.toml:6:23: fretboard_radius_mm: expected 0 (flat) or at least half the string spread (25.75 mm), got 25.5 mm`},
		{"lowest over highest", "pole_height_max_mm = 2.6", "pole_height_max_mm = -0.5",
			`o.toml:15:22: pole_height_max_mm: expected at least the lowest pole height (0 mm), got -0.5 mm`},
		{"no stock within limits", "[0.02, 0.04, 0.06, 0.08, 0.12]", "[-0.02, 0.12]",
			`o.toml:16:1: pole_heights_in: expected at least one height from 0.000 to 0.102 in (0 to 2.6 mm), got none`},
		{"pickup beyond the scale", "pickup_from_bridge_mm = 118.0", "pickup_from_bridge_mm = 650",
			`o.toml:9:25: pickup_from_bridge_mm: expected less than the scale length (647.7 mm), got 650 mm`},
		{"offsets of another count", "0, -0.5]", "-0.5]",
			`o.toml:22:1: offset_db: expected 6 values, one a string, got 5`},
		{"comma for a point", "0.9, 0.5]", "0,7, 0,5]",
			`o.toml:28:1: heights_mm: expected 6 values, one a string, got 8`},
		{"magnets of another count", "poles =", "magnets = [\"spring/1\", \"spring/2\"]\npoles =",
			`o.toml:13:1: magnets: expected 6 values, one a string, got 2`},
		{"fixed poles of another count", "poles =", "pole_heights_fixed_mm = [1, 2]\npoles =",
			`o.toml:13:1: pole_heights_fixed_mm: expected 6 values, one a string, got 2`},
		{"travel of poles that are planned", "poles =", "pickup_lower_mm = 1\npoles =",
			`o.toml:13:19: pickup_lower_mm: expected pole_heights_fixed_mm beside it: only a pickup whose poles are fixed is moved`},
		{"alternative of another count", "[[compare]]", "[[alternative]]\nset = \"bass stainless 45-105\"\n[[compare]]",
			`o.toml:27:7: set: expected 6 strings, as the order has, got 4`},
		{"alternative twice", "[[compare]]", "[[alternative]]\nset = \"medium 11-49\"\n[[alternative]]\nset = \"medium 11-49\"\n[[compare]]",
			`o.toml:28:3: name: expected each string set once, got "medium 11-49" again`},
		{"alternative without a name", "[[compare]]", "[[alternative]]\nstring = [{gauge_mm = 1, wrap = \"plain\"}]\n[[compare]]",
			`o.toml:26:3: name: expected text, but the key is missing`},
		{"alternative without strings", "[[compare]]", "[[alternative]]\nname = \"x\"\n[[compare]]",
			`o.toml:26:3: string: expected [[string]] tables or set = "NAME", but the key is missing`},
		{"magnet in two places", "poles =", "magnets = [\"a\", \"b\", \"c\", \"d\", \"a\", \"e\"]\npoles =",
			`o.toml:13:32: magnets: expected each magnet once, got "a" again`},
		{"unknown set", "quay 10-46", "quai 10-46",
			`o.toml:3:7: set: unknown string set "quai 10-46"; did you mean "quay 10-46"?`},
		{"set like no other", "quay 10-46", "x",
			`o.toml:3:7: set: unknown string set "x"; expected one of quay 10-46, bass 45-105, extra light 9-42, ` +
				`light plain-third 10-46, light stainless 10-46, medium 11-49, wound-third 12-52, seven-string 10-59, bass stainless 45-105, bass five-string 45-130, bass flat-wound 45-100, bass half-wound 45-105, flat-wound 12-50, half-wound 11-50, baritone 13-62, twelve-string 10-46`},

		// Not TOML.
		{"decimal comma", "min_gap_mm = 1.2", "min_gap_mm = 1,2",
			`o.toml:17:15: expected newline but got U+002C ','; decimals take a point: 3.1`},
		{"no digit first", "min_gap_mm = 1.2", "min_gap_mm = .2",
			`o.toml:17:14: unexpected character U+002E '.' at start of value; a number starts with a digit: 0.010`},
		{"open quote", `"spring"`, `"spring`,
			`o.toml:12:16: basic strings cannot have new lines; the quote at the end of the text is missing`},
		{"no quotes", `"spring"`, `spring # the lot`,
			`o.toml:12:9: unexpected character U+0073 's' at start of value; a text stands between quotes: "spring"`},
		{"no quotes, like a keyword", `"spring"`, `fall`,
			`o.toml:12:9: expected keyword "false"; a text stands between quotes: "fall"`},
		{"curly quotes", `"spring"`, `“spring”`,
			`o.toml:12:9: unexpected character U+201C '“' at start of value; quotes are straight ones: "`},
		{"no value", `"spring"`, ``,
			`o.toml:12:9: unexpected character U+000A at start of value; the value is missing`},
		{"a unit", "min_gap_mm = 1.2", "min_gap_mm = 1.2 mm",
			`o.toml:17:18: expected newline but got U+006D 'm'; a number stands alone, without a unit or a fraction: 2.0625`},
		{"a fraction", "min_gap_mm = 1.2", "min_gap_in = 3½",
			`o.toml:17:15: expected newline but got U+00BD '½'; a number stands alone, without a unit or a fraction: 2.0625`},
		{"a quote in a text", `"H-031"`, `"H "31" b"`,
			`o.toml:2:10: expected newline but got U+0033 '3'; a line has one value, and a quote within a text is written \"`},
		{"a backslash", `"H-031"`, `"H\031"`,
			`o.toml:2:8: invalid escape character U+0030 '0'; a backslash in a text is written twice: \\`},
		{"open bracket", "[target]", "[target",
			`o.toml:21:8: expected ']' to close table name`},
		{"not UTF-8", "Harbour", "Harb\xfcr",
			`o.toml:1:7: expected UTF-8 text, got the byte 0xFC`},
		{"columns are characters", "id = \"H-031\"", "id = \"Häfen-031\" x",
			`o.toml:2:18: expected newline but got U+0078 'x'; a line has one value, and a quote within a text is written \"`},
		{"capitals", "id = ", "ID = ",
			`o.toml:2:1: ID: unknown key; did you mean "id"?`},
		{"the first of two", "batch =", "bach = 1\nbatch = 2 #",
			`o.toml:12:1: bach: unknown key; did you mean "batch"?`},
	}
	l := shop(t)
	trySlips(t, read(t, "order.toml"), slips, func(text []byte) error {
		_, err := ParseOrder("o.toml", text, l)
		return err
	})
}

func TestEmptyOrder(t *testing.T) {
	_, err := ParseOrder("o.toml", nil, Builtin())
	if want := "o.toml:1:1: id: expected text, but the key is missing"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

func TestOneStringHasOneHeight(t *testing.T) {
	text := "id = \"x\"\nstring = [{gauge_mm = 1, wrap = \"plain\"}]\n[instrument]\nfretboard_radius_mm = 0\nstring_spread_mm = 0\n" +
		"[pickup]\nbatch = \"b\"\npoles = \"slug\"\npole_height_min_mm = 0\npole_height_max_mm = 2\nmin_gap_mm = 0\n" +
		"string_height_first_mm = 3\nstring_height_last_mm = 4\n[target]\ntolerance_db = 1\n"
	_, err := ParseOrder("o.toml", []byte(text), Builtin())
	want := "o.toml:13:25: string_height_last_mm: expected the height of string 1 (3 mm), as it is the only one, got 4 mm"
	if err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

func TestMissingFile(t *testing.T) {
	if _, err := ReadOrder(filepath.Join(t.TempDir(), "none.toml"), Builtin()); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("ReadOrder: got %v, want a file that is not there", err)
	}
	if _, err := ReadMount(filepath.Join(t.TempDir(), "none.toml"), Builtin()); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("ReadMount: got %v, want a file that is not there", err)
	}
}

func TestTarget(t *testing.T) {
	for _, c := range []struct {
		offset, want []float64
		note         string
	}{
		{nil, []float64{0, 0, 0}, ""},
		{[]float64{0.5, 0, -0.5}, []float64{0.5, 0, -0.5}, ""},
		{[]float64{0.1, 0.2, -0.3}, []float64{0.1, 0.2, -0.3}, ""}, // sums to 2.8e-17
		{[]float64{2, 2, 2}, []float64{0, 0, 0}, "offset_db averages +2 dB; balances have no mean, so that is taken off every offset"},
		{[]float64{0, 0, -3}, []float64{1, 1, -2}, "offset_db averages -1 dB; balances have no mean, so that is taken off every offset"},
	} {
		o := &Order{Offset: c.offset, Strings: make([]String, 3)}
		for i, got := range o.Target() {
			if math.Abs(got-c.want[i]) > 1e-12 {
				t.Errorf("%v: got %v, want %v", c.offset, o.Target(), c.want)
				break
			}
		}
		if got := o.CentringNote(); got != c.note {
			t.Errorf("%v: got %q, want %q", c.offset, got, c.note)
		}
	}
}
