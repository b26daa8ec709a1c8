package profiles

import (
	"errors"
	"reflect"
	"strings"
	"testing"
)

// An order that is filled into a form and written again is the same order.
func TestFormsKeepOrders(t *testing.T) {
	paths := append(files(t, "../../testdata/sample-shop/orders/*.toml"), "testdata/order.toml")
	for _, path := range paths {
		text, err := readText(path)
		if err != nil {
			t.Fatal(err)
		}
		want, err := ParseOrder("order", text, shop(t))
		if err != nil {
			t.Fatal(err)
		}
		in, whole, err := OrderFormat.Fill("order", text)
		if err != nil || !whole {
			t.Errorf("%s: whole %v, %v", path, whole, err)
		}
		written, lines := OrderFormat.File(in)
		if n := strings.Count(written, "\n"); n != len(lines) {
			t.Errorf("%s: %d lines and %d paths", path, n, len(lines))
		}
		got, err := ParseOrder("order", []byte(written), shop(t))
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%s: got %+v, %v\nwant %+v", path, got, err, want)
		}
		for _, g := range OrderFormat.Form(in) {
			for _, row := range g.Rows {
				for _, x := range row {
					delete(in.Typed, x.Path)
				}
			}
		}
		if len(in.Typed) != 0 {
			t.Errorf("%s: no field for %v", path, in.Typed)
		}
	}
}

// A file that says more than the fields hold is told from one that does not.
func TestFormsKnowWhatTheyDoNotHold(t *testing.T) {
	text := string(read(t, "order.toml")) + "[[alternative]]\nname = \"heavier\"\n[[alternative.string]]\ngauge_in = 0.011\n"
	if _, whole, err := OrderFormat.Fill("order", []byte(text)); whole || err != nil {
		t.Errorf("whole %v, %v", whole, err)
	}
}

// typedOrder is an order as it may be typed, lengths in inches where nothing is said.
func typedOrder() Filled {
	return Filled{Inches, map[string]string{
		"id": "A-1", "set": "light plain-third 10-46", "instrument.fretboard_radius": "9.5", "instrument.string_spread": "52 mm",
		"pickup.batch": "M-1", "pickup.poles": "screw", "pickup.pole_height_min": "0", "pickup.pole_height_max": `.1"`, "pickup.min_gap": "1.2mm",
		"pickup.string_height_first": ".12", "pickup.string_height_last": "0.13 in", "target.tolerance_db": "1.5", "target.offset_db": "0,0 0.5; 0 0 -0.5",
		"compare.0.name": "what came with it", "compare.0.heights": "0.4, 0.8, 1.9, 1.4, 0.9, 0.5 mm",
	}}
}

func TestLengthsAsTyped(t *testing.T) {
	text, _ := OrderFormat.File(typedOrder())
	o, err := ParseOrder("order", []byte(text), shop(t))
	if err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	got := []float64{o.FretboardRadius, o.StringSpread, o.PoleHeightMax, o.MinGap, o.StringHeightFirst, o.StringHeightLast, o.Offset[2], o.Offset[5], o.Compare[0].Heights[2]}
	if want := []float64{241.3, 52, 2.54, 1.2, 3.048, 3.302, 0.5, -0.5, 1.9}; !reflect.DeepEqual(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// A mistake is about the field that it was typed in, in the words of the reader of files.
func TestMistakesAreAtTheirFields(t *testing.T) {
	for _, c := range []struct{ path, typed, at, says string }{
		{"pickup.min_gap", "60", "pickup.min_gap", `expected 0 or 0.007874 to 0.3937 in, got 60`},
		{"pickup.min_gap", "1,2", "pickup.min_gap", `expected a number, got "1,2"; decimals take a point: 3.1`},
		{"instrument.string_spread", "2,05 in", "instrument.string_spread", `expected a number, got "2,05"; decimals take a point: 3.1`},
		{"pickup.min_gap", "", "pickup.min_gap", `the key is missing`},
		{"target.tolerance_db", "", "target.tolerance_db", `the key is missing`},
		{"id", "", "id", `the key is missing`},
		{"id", "a\nb = 7", "id", `expected a line of text`},
		{"id", `"]` + "\n[pickup]", "id", `expected a line of text`},
		{"pickup.poles", "glass", "pickup.poles", `or "blade", got "glass"`},
		{"instrument.scale_length", "0x10", "instrument.scale_length", `expected a number, got "0x10"`},
		{"set", "none", "set", "none"},
		{"compare.0.heights", "1 2 3 mm", "compare.0.heights", "expected 6 values"},
		{"compare.1.heights", "1 1 1 1 1 1 mm", "compare.1.name", "the key is missing"},
		{"string.0.gauge", "0.010", "string", "expected this or set, got both"},
	} {
		in := typedOrder()
		in.Typed[c.path] = c.typed
		text, paths := OrderFormat.File(in)
		_, err := ParseOrder("order", []byte(text), shop(t))
		var mistake *Error
		if !errors.As(err, &mistake) || !strings.Contains(mistake.Msg, c.says) {
			t.Errorf("%s %q: %v", c.path, c.typed, err)
			continue
		}
		if at := FieldOf(mistake, paths); !strings.HasPrefix(at, c.at) {
			t.Errorf("%s %q: at %q, want %q: %v", c.path, c.typed, at, c.at, err)
		}
	}
}

// Whatever is typed stays in its field: no text becomes a key or a table.
func TestTypedTextsStayTexts(t *testing.T) {
	for _, typed := range []string{"\"\n[target]\ntolerance_db = 9\n", `\`, `"""`, "'", "# note", "\x7f", "é\u2028", "1979-05-27", "inf", "{a=1}", "[1]"} {
		in := typedOrder()
		for path := range in.Typed {
			one := typedOrder()
			one.Typed[path] = typed
			text, paths := OrderFormat.File(one)
			d, err := parse("order", []byte(text))
			if err != nil || len(paths) != strings.Count(text, "\n") || d.top.leaves() != len(one.Typed) {
				t.Errorf("%s %q: %v in\n%s", path, typed, err, text)
			}
		}
	}
}
