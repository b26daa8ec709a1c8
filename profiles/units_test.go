package profiles

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// Sentences with lengths in mm are said in inches, the millimetres behind; numbers that
// are no lengths stay.
func TestTextInInches(t *testing.T) {
	for text, want := range map[string]string{
		"string 3 at 1.20 mm":                     "string 3 at 0.047 in (1.20 mm)",
		"pole 3 +0.1 mm":                          "pole 3 +0.004 in (+0.1 mm)",
		"fretboard radius 241.3 mm":               "fretboard radius 9.5 in (241.3 mm)",
		"undersides 3.00 and 3.40 mm over":        "undersides 0.118 and 0.134 in (3.00 and 3.40 mm) over",
		"poles at 0.50, 1.00, 1.50 mm and":        "poles at 0.020, 0.039, 0.059 in (0.50, 1.00, 1.50 mm) and",
		"the best heights are [0.50 1.00] mm;":    "the best heights are [0.020 0.039] in ([0.50 1.00] mm);",
		"expected 25 to 3000 mm, got":             "expected 0.984 to 118.11 in (25 to 3000 mm), got",
		"strings 3 and 6, 0.5 mm apart":           "strings 3 and 6, 0.020 in (0.5 mm) apart",
		"0.047 in (1.20 mm)":                      "0.047 in (1.20 mm)",
		"pole_height_max_mm 3":                    "pole_height_max_mm 3",
		"1.59 1/mm, 3 mmm":                        "1.59 1/mm, 3 mmm",
		"mean 110.5 mT, between 100.0 and 120 mT": "mean 110.5 mT (1105 G), between 100.0 and 120 mT (1000 and 1200 G)",
	} {
		if got := Inches.Text(text); got != want {
			t.Errorf("%q: got %q, want %q", text, got, want)
		}
		if got := Millimetres.Text(text); got != text {
			t.Errorf("in mm %q became %q", text, got)
		}
	}
}

func TestFiguresInInches(t *testing.T) {
	for _, c := range []struct {
		format   string
		mm       float64
		mms, ins string
	}{{"%.2f", 3.1, "3.10", "0.122"}, {"%+.2f", 0.5, "+0.50", "+0.020"}, {"%.3f", 0.254, "0.254", "0.0100"}, {"%.4f", 0.254, "0.2540", "0.01000"}} {
		if mms, ins := Millimetres.Write(c.format, c.mm), Inches.Write(c.format, c.mm); mms != c.mms || ins != c.ins {
			t.Errorf("%s of %g: %s and %s", c.format, c.mm, mms, ins)
		}
	}
}

// An order is in the unit of most of its instrument's and pickup's lengths: a radius in
// inches alone makes no order in inches, nor do gauges.
func TestUnitsOfOrder(t *testing.T) {
	var inches strings.Builder
	if err := OrderFormat.WriteExample(&inches, Inches); err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]Units{inches.String(): Inches, read(t, "order.toml"): Millimetres} {
		o, err := ParseOrder("o.toml", []byte(text), shop(t))
		if err != nil || o.Units != want {
			t.Errorf("%v, %v, want %s, of\n%s", o, err, want, text)
		}
	}
}

func TestKeysInInches(t *testing.T) {
	const said = "string 1: min_gap_mm keeps it, or the lowest of pole_heights_mm; core_mm and an own_mm stay"
	if got, want := Inches.Keys(said), "string 1: min_gap_in keeps it, or the lowest of pole_heights_in; core_mm and an own_mm stay"; got != want {
		t.Errorf("got %q", got)
	}
	if got := Millimetres.Keys(said); got != said {
		t.Errorf("got %q", got)
	}
}

func TestReadLength(t *testing.T) {
	for text, want := range map[string]float64{"0.4": 0.4, " 0.4mm ": 0.4, "0.02in": 0.508, "0.02 in": 0.508, "-1": -1} {
		if got, err := Millimetres.Read(text); err != nil || math.Abs(got-want) > 1e-12 {
			t.Errorf("%q: %g, %v", text, got, err)
		}
	}
	if got, err := Inches.Read("0.02"); err != nil || math.Abs(got-0.508) > 1e-12 {
		t.Errorf("%g, %v", got, err)
	}
	for _, text := range []string{"", "in", "1 2", "nan", "inf", "0.4cm"} {
		if got, err := Inches.Read(text); err == nil {
			t.Errorf("%q: %g", text, got)
		}
	}
}

func TestUnitsOfFigures(t *testing.T) {
	for unit, want := range map[string]string{"mm": "0.039 in", "1/mm": "25.400 1/in", "dB/mm": "25.400 dB/in", "ln v": "1.000 ln v"} {
		factor, name := Inches.Of(unit)
		if got := fmt.Sprintf("%.3f %s", factor, name); got != want {
			t.Errorf("%s: %s, want %s", unit, got, want)
		}
		if factor, name := Millimetres.Of(unit); factor != 1 || name != unit {
			t.Errorf("%s in mm: %g %s", unit, factor, name)
		}
	}
}

// TestInchFilesAreRefusedInInches: what is wrong with a file in inches is said in inches, and its keys are
// named as the file has them.
func TestInchFilesAreRefusedInInches(t *testing.T) {
	const order = `id = "I-1"
set = "light plain-third 10-46"
[instrument]
fretboard_radius_in = 9.5
string_spread_in = 2
scale_length_in = 25.5
pickup_from_bridge_in = 3.75
[pickup]
batch = "gale"
poles = "rod"
pole_height_min_in = 0
pole_height_max_in = 0.1
pole_height_step_in = 0.002
min_gap_in = 0.05
string_height_first_in = 0.12
string_height_last_in = 0.14
[target]
tolerance_db = 2
`
	for _, test := range []struct{ from, to, want string }{
		{"max_in = 0.1", "max_in = -0.1", `pole_height_max_in: expected at least the lowest pole height (0.000 in (0 mm)), got -0.100 in (-2.54 mm)`},
		{"pole_height_step_in = 0.002", "pole_heights_in = [0.2]", `pole_heights_in: expected at least one height from 0.000 to 0.100 in (0 to 2.54 mm), got none`},
		{"bridge_in = 3.75", "bridge_in = 30", `pickup_from_bridge_in: expected less than the scale length (25.5 in (647.7 mm)), got 30 in (762 mm)`},
		{"min_gap_in = 0.05", "min_gap_in = 0.05\nstring_positions_in = [0, 0.4, 0.8, 1.2, 1.6, 1.9]",
			`string_spread_in: expected what string_positions_in of [pickup] say, 1.900 in (48.26 mm), got 2 in (50.8 mm)`},
		{"min_gap_in = 0.05\n", "", `min_gap_in: expected a length, but the key is missing`},
		{"min_gap_in = 0.05", "min_gap_in = 0.05\npickup_raise_in = 0.05", `pickup_raise_in: expected pole_heights_fixed_in beside it`},
		{"min_gap_in = 0.05", "min_gap_in = 2", `min_gap_in: expected 0 or 0.007874 to 0.3937 in, got 2; if that is millimetres, write min_gap_mm`},
		{"min_gap_in = 0.05", "min_gap_in = 0.05\nsetting_error_in = 1", `setting_error_in: expected 0.00003937 to 0.03937 in, got 1; if that is millimetres, write setting_error_mm`},
		{"fretboard_radius_in = 9.5", "fretboard_radius_mm = 25.2", `fretboard_radius_mm: expected 0 (flat) or at least half the string spread (25.4 mm), got 25.2 mm`},
	} {
		text := strings.Replace(order, test.from, test.to, 1)
		if text == order {
			t.Fatalf("no %q to replace", test.from)
		}
		_, err := ParseOrder("o.toml", []byte(text), Builtin())
		if err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%q: got %v\nwant %s", test.to, err, test.want)
		}
	}
}
