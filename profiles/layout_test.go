package profiles

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
)

// layoutOrder is an order whose [pickup] says this, with these lines at its top and end.
func layoutOrder(set, instrument, pickup, end string) string {
	return "id = \"L\"\nset = \"" + set + "\"\n[instrument]\nfretboard_radius_mm = 300\nscale_length_mm = 648\npickup_from_bridge_mm = 95\n" +
		instrument + "\n[pickup]\nbatch = \"M\"\nmin_gap_mm = 1.2\n" + pickup + "\n" + end + "\n[target]\ntolerance_db = 1\n"
}

const (
	arcKeys = "string_height_first_mm = 3\nstring_height_last_mm = 3.4\n"
	setKeys = "poles = \"rod\"\npole_height_min_mm = 0\npole_height_max_mm = 2.6\npole_height_step_mm = 0.05\n"
	courses = "string_positions_mm = [0, 2, 10, 12, 20, 22, 30, 32, 40, 42, 50, 52]\n"
)

func readLayoutOrder(t *testing.T, text string) *Order {
	t.Helper()
	o, err := ParseOrder("o.toml", []byte(text), Builtin())
	if err != nil {
		t.Fatalf("%v of\n%s", err, text)
	}
	return o
}

// TestUnevenStrings: strings lie on the arc where they are across the pickup.
func TestUnevenStrings(t *testing.T) {
	o := readLayoutOrder(t, layoutOrder("twelve-string 10-46", "", setKeys+arcKeys+courses+"strings_per_pole = 2\n", ""))
	if o.StringSpread != 52 {
		t.Errorf("spread %g mm", o.StringSpread)
	}
	got := o.StringHeights()
	// The circle through (0, 3) and (52, 3.4) with its centre below; y = 3 at x = 0.
	chord := math.Hypot(52, 0.4)
	below := math.Sqrt(300*300 - chord*chord/4)
	cx, cy := 26+below*0.4/chord, 3.2-below*52/chord
	for i, x := range o.Layout.StringPositions {
		if want := cy + math.Sqrt(300*300-(x-cx)*(x-cx)); math.Abs(got[i]-want) > 1e-9 {
			t.Errorf("string %d at %g mm: %.6f mm, want %.6f", i+1, x, got[i], want)
		}
	}
	if at := o.Layout.PolesAcross(12, o.StringSpread); !slices.Equal(at, []float64{1, 11, 21, 31, 41, 51}) {
		t.Errorf("poles at %g mm", at)
	}
	if o.Spacing() != 10 || o.Layout.Leader(5) != 4 || !slices.Equal(o.Layout.PolesOf(6), []int{3}) {
		t.Errorf("spacing %g mm, leader %d, poles %v", o.Spacing(), o.Layout.Leader(5), o.Layout.PolesOf(6))
	}
}

// TestSpreadBesidePositions: an order may say the spread of strings that it has the
// positions of, where both agree as well as one measures them.
func TestSpreadBesidePositions(t *testing.T) {
	o := readLayoutOrder(t, layoutOrder("light plain-third 10-46", "string_spread_mm = 51.5", setKeys+arcKeys+"string_positions_mm = [-25.5, -15.3, -5.1, 5.1, 15.3, 25.5]\n", ""))
	if o.StringSpread != 51 {
		t.Errorf("spread %g mm", o.StringSpread)
	}
}

// TestTwoPolesAString: heights may be given one a pole; the mean of a pair counts.
func TestTwoPolesAString(t *testing.T) {
	o := readLayoutOrder(t, layoutOrder("bass 45-105", "", setKeys+arcKeys+`string_positions_mm = [0, 19, 38, 57]
pole_positions_mm = [-4.7, 4.7, 14.3, 23.7, 33.3, 42.7, 52.3, 61.7]
poles_per_string = 2
pole_diameter_in = 0.1875
`, "[[compare]]\nname = \"per pole\"\nheights_mm = [0, 0.2, 1, 1, 1, 1.4, 0, 0]\n"))
	if want := []float64{0.1, 1, 1.2, 0}; !slices.Equal(o.Compare[0].Heights, want) || o.Layout.PoleDiameter != 4.7625 {
		t.Errorf("got %v, pole %g mm", o.Compare[0].Heights, o.Layout.PoleDiameter)
	}
	if !slices.Equal(o.Layout.PolesOf(3), []int{5, 6}) || o.Spacing() != 19 {
		t.Errorf("poles %v, spacing %g mm", o.Layout.PolesOf(3), o.Spacing())
	}
}

// TestMeasuredHeights: heights as measured go in place of the arc.
func TestMeasuredHeights(t *testing.T) {
	text := layoutOrder("light plain-third 10-46", "string_spread_mm = 52", setKeys+"string_heights_in = [0.12, 0.14, 0.15, 0.15, 0.14, 0.13]\n", "")
	o := readLayoutOrder(t, strings.Replace(text, "fretboard_radius_mm = 300\n", "", 1))
	want := []float64{3.048, 3.556, 3.81, 3.81, 3.556, 3.302}
	if !slices.Equal(o.StringHeights(), want) || o.StringHeightFirst != 3.048 || o.StringHeightLast != 3.302 {
		t.Errorf("got %v, %g and %g", o.StringHeights(), o.StringHeightFirst, o.StringHeightLast)
	}
}

// TestStockLengths: lengths in stock become the heights that they give.
func TestStockLengths(t *testing.T) {
	pickup := "poles = \"rod\"\npole_height_min_mm = 0\npole_height_max_mm = 2.6\nmagnet_lengths_in = [0.7, 0.65, 0.625, 0.8]\nformer_depth_in = 0.625\n" + arcKeys
	o := readLayoutOrder(t, layoutOrder("light plain-third 10-46", "string_spread_mm = 52", pickup, ""))
	if want := []float64{0, 0.635, 1.905}; !slices.EqualFunc(o.PoleHeights, want, func(a, b float64) bool { return math.Abs(a-b) < 1e-6 }) {
		t.Errorf("got %v, want %v", o.PoleHeights, want)
	}
}

// TestStockHeightsAlone: heights in stock are their own limits where the order gives no
// others.
func TestStockHeightsAlone(t *testing.T) {
	for limits, want := range map[string][2]float64{"": {0.4, 1.7}, "pole_height_min_mm = 0.5\n": {0.5, 1.7}, "pole_height_max_mm = 1\n": {0.4, 1}} {
		o := readLayoutOrder(t, layoutOrder("light plain-third 10-46", "string_spread_mm = 52", "poles = \"rod\"\npole_heights_mm = [0.9, 0.4, 1.7]\n"+limits+arcKeys, ""))
		if got := [2]float64{o.PoleHeightMin, o.PoleHeightMax}; got != want {
			t.Errorf("with %q: from %g to %g mm, want %g", limits, got[0], got[1], want)
		}
	}
}

const coilKeys = "[[pickup.coil]]\nfrom_bridge_mm = 76\npolarity = \"opposite\"\nwinding = \"opposite\"\npoles = \"screw\"\n"

func TestTwoCoils(t *testing.T) {
	o := readLayoutOrder(t, layoutOrder("light plain-third 10-46", "string_spread_mm = 52",
		"poles = \"slug\"\npole_height_min_mm = 0\npole_height_max_mm = 0\npole_heights_fixed_mm = [0, 0, 0, 0, 0, 0]\n"+arcKeys,
		coilKeys+"pole_height_min_mm = 0\npole_height_max_mm = 2.6\npole_height_step_mm = 0.1\n"))
	c := o.Layout.Coil
	if c == nil || c.FromBridge != 76 || c.Poles != Screw || c.Max != 2.6 || !c.Adds() || o.Fixed() {
		t.Fatalf("got %+v, fixed %v", c, o.Fixed())
	}
}

// TestWindingLeftOut: coils whose winding is not told are connected so that their signals
// add, in orders and mounts.
func TestWindingLeftOut(t *testing.T) {
	for _, polarity := range Directions() {
		coil := strings.Replace(strings.Replace(coilKeys, "winding = \"opposite\"\n", "", 1), "opposite", string(polarity), 1)
		o := readLayoutOrder(t, layoutOrder("light plain-third 10-46", "string_spread_mm = 52", setKeys+arcKeys, coil+"pole_heights_fixed_mm = [0, 0, 0, 0, 0, 0]\n"))
		if c := o.Layout.Coil; !c.Adds() || c.Winding != polarity {
			t.Errorf("order, polarity %s: %+v", polarity, c)
		}
		m, err := ParseMount("m.toml", []byte(`pickup = "P"
batch = "M"
pole_heights_mm = [0, 0, 0, 0]
string_heights_mm = [3, 3, 3, 3]
set = "bass 45-105"
[[coil]]
pole_heights_mm = [1, 1, 1, 1]
scale_length_mm = 860
first_from_bridge_mm = 100
from_bridge_mm = 80
polarity = "`+string(polarity)+`"
`), Builtin())
		if err != nil {
			t.Fatal(err)
		}
		if m.Second.Gain <= 0 {
			t.Errorf("mount, polarity %s: gain %g", polarity, m.Second.Gain)
		}
	}
}

func TestBlade(t *testing.T) {
	o := readLayoutOrder(t, layoutOrder("light plain-third 10-46", "string_spread_mm = 52", "poles = \"blade\"\npole_heights_fixed_mm = [1.2]\n"+arcKeys, ""))
	if !o.Fixed() || !slices.Equal(o.FixedHeights, []float64{1.2, 1.2, 1.2, 1.2, 1.2, 1.2}) || o.PoleHeightMax != 1.2 || o.PickupRaise != 1.5 {
		t.Errorf("got %+v", o)
	}
}

// TestLayoutSlips: what cannot be is said with its key.
func TestLayoutSlips(t *testing.T) {
	six := "light plain-third 10-46"
	for _, c := range []struct{ set, instrument, pickup, end, want string }{
		{six, "string_spread_mm = 52", setKeys + arcKeys + "strings_per_pole = 3\n", "", "strings_per_pole: expected 1 to 2, got 3"},
		{six, "string_spread_mm = 52", setKeys + arcKeys + "poles_per_string = 1.5\n", "", "poles_per_string: expected a whole number, got 1.5"},
		{six, "string_spread_mm = 52", setKeys + arcKeys + "poles_per_string = 2\n", "", "pole_positions_mm: expected where the two poles of each string stand, but the key is missing"},
		{six, "string_spread_mm = 52", setKeys + arcKeys + "string_positions_mm = [0, 10, 20, 30, 40, 50]\n", "", "string_spread_mm: expected what string_positions_mm of [pickup] say, 50 mm, got 52 mm: leave one of the two out"},
		{six, "", setKeys + arcKeys + "string_positions_mm = [0, 10, 10.5, 30, 40, 50]\n", "", "string_positions_mm: expected at least 1 mm more than the one before (10 mm), got 10.5 mm"},
		{six, "", setKeys + arcKeys + "string_positions_mm = [0, 10, 20, 30, 40]\n", "", "string_positions_mm: expected 6 values, one a string, got 5"},
		{six, "", setKeys + arcKeys + "string_positions_mm = [0, 10, 20, 30, 40, 50]\npole_positions_mm = [0, 10, 20, 30, 40, 90]\n", "", "pole_positions_mm: expected within 12 mm of string 6 at 50 mm, got 90 mm"},
		{"seven-string 10-59", "string_spread_mm = 60", setKeys + arcKeys + "strings_per_pole = 2\n", "", "strings_per_pole: expected an even number of strings for 2, got 7"},
		{six, "string_spread_mm = 52", "poles = \"blade\"\n" + arcKeys, "", "pole_heights_fixed_mm: expected a list of lengths, but the key is missing"},
		{six, "string_spread_mm = 52", "poles = \"blade\"\npole_heights_fixed_mm = [1, 1]\n" + arcKeys, "", "pole_heights_fixed_mm: expected 6 values, one a string, or one for a blade that is level, got 2"},
		{six, "string_spread_mm = 52", "poles = \"blade\"\npole_heights_fixed_mm = [1]\npole_height_step_mm = 0.1\n" + arcKeys, "", "pole_height_step_mm: expected no such key beside poles = \"blade\""},
		{six, "string_spread_mm = 52", setKeys + "string_heights_mm = [3, 3, 3, 3, 3, 3]\n", "", "fretboard_radius_mm: expected this or string_heights_mm of [pickup], got both"},
		{six, "string_spread_mm = 52", "poles = \"rod\"\npole_height_min_mm = 0\npole_height_max_mm = 2\nmagnet_lengths_mm = [20, 21]\nformer_depth_mm = 11\n" + arcKeys, "", "magnet_lengths_mm: no length fits: from 11 to 13 mm would"},
		{six, "string_spread_mm = 52", "poles = \"rod\"\npole_height_min_mm = 0\npole_height_max_mm = 2\nmagnet_lengths_mm = [12, 13]\n" + arcKeys, "", "former_depth_mm: expected a length, but the key is missing"},
		{six, "string_spread_mm = 52", setKeys + arcKeys, coilKeys, "pole_height_min_mm: expected a length, but the key is missing"},
		{six, "string_spread_mm = 52", setKeys + arcKeys, coilKeys + "pole_heights_fixed_mm = [0, 0]\n", "pole_heights_fixed_mm: expected 6 values, one a string, got 2"},
		{six, "string_spread_mm = 52", setKeys + arcKeys, strings.Replace(coilKeys, "76", "700", 1) + "pole_heights_fixed_mm = [0, 0, 0, 0, 0, 0]\n", "from_bridge_mm: expected less than the scale length (648 mm), got 700 mm"},
		{six, "string_spread_mm = 52", setKeys + arcKeys, "[pair]\norder = \"n.toml\"\n", "difference_db: expected a number, but the key is missing"},
	} {
		_, err := ParseOrder("o.toml", []byte(layoutOrder(c.set, c.instrument, c.pickup, c.end)), Builtin())
		var e *Error
		if !errors.As(err, &e) || !strings.HasPrefix(e.Key+": "+e.Msg, c.want) {
			t.Errorf("got  %v\nwant %s", err, c.want)
		}
	}
}

// TestMountLayouts: a mount's heights by pole come to heights by string, and its second
// coil says how far strings move over it.
func TestMountLayouts(t *testing.T) {
	head := "pickup = \"P\"\nbatch = \"M\"\nstring_heights_mm = [3, 3, 3, 3]\nset = \"bass 45-105\"\n"
	m, err := ParseMount("m.toml", []byte(head+`poles_per_string = 2
pole_heights_mm = [0, 0.4, 1, 1, 1, 1, 2, 2]
[[coil]]
pole_heights_mm = [1, 1, 1, 1, 1, 1, 0.5, 1.5]
scale_length_mm = 860
first_from_bridge_mm = 100
from_bridge_mm = 80
polarity = "opposite"
winding = "same"
`), Builtin())
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(m.PoleHeights, []float64{0.2, 1, 1, 2}) || !slices.Equal(m.Second.PoleHeights, []float64{1, 1, 1, 1}) || !(m.Second.Gain < -0.8 && m.Second.Gain > -1) {
		t.Errorf("got %v and %+v", m.PoleHeights, m.Second)
	}
	_, err = ParseMount("m.toml", []byte(head+"pole_heights_mm = [0, 0.4, 1]\n"), Builtin())
	if want := "m.toml:5:1: pole_heights_mm: expected 4 values, one a string, got 3"; err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
	plain, err := ParseMount("m.toml", []byte(head+"pole_heights_mm = [0, 0, 0, 0]\n"), Builtin())
	if err != nil {
		t.Fatal(err)
	}
	two := *plain
	two.Second = &SecondRow{PoleHeights: []float64{1, 1, 1, 1}, Gain: 0.8}
	a, _ := plain.Digest()
	b, _ := two.Digest()
	if a == b {
		t.Error("a second coil makes no difference to a mount's digest")
	}
}

// TestSamples: the orders that help shows are read.
func TestSamples(t *testing.T) {
	want := map[string]Under{"bass": UnderTwoPoles, "blade": UnderBlade, "twelve-string": UnderShared, "two-coils": Under("").TwoCoils()}
	for _, s := range OrderFormat.Samples() {
		o, err := ParseOrder(s.Name, []byte(s.Text), Builtin())
		if err != nil {
			t.Error(err)
			continue
		}
		if o.Under() != want[s.Name] {
			t.Errorf("%s: %q", s.Name, o.Under())
		}
		delete(want, s.Name)
	}
	if len(want) > 0 {
		t.Errorf("no sample of %v", want)
	}
}

// TestMountSamples: the mounts that help shows are read, and each of a pickup is one of the
// order by its name: of the same kind, with strings where the order has them.
func TestMountSamples(t *testing.T) {
	orders := map[string]*Order{}
	for _, s := range OrderFormat.Samples() {
		o, err := ParseOrder(s.Name, []byte(s.Text), Builtin())
		if err != nil {
			t.Fatal(err)
		}
		orders[s.Name] = o
	}
	for _, s := range MountFormat.Samples() {
		m, err := ParseMount(s.Name, []byte(s.Text), Builtin())
		if err != nil {
			t.Error(err)
			continue
		}
		if s.Name == "magnets" {
			if len(m.Magnets) == 0 || m.Pickup != "" {
				t.Errorf("magnets: %+v", m)
			}
			continue
		}
		o := orders[s.Name]
		if o == nil {
			t.Errorf("%s: no order is called so", s.Name)
			continue
		}
		delete(orders, s.Name)
		if kind := m.Under; (m.Second == nil && kind != o.Under()) || (m.Second != nil && kind.TwoCoils() != o.Under()) || m.Pickup != o.ID+"-a" || m.Set != o.Set || m.Poles != o.Poles {
			t.Errorf("%s: mount %q, %q, %q, %q; order %q, %q, %q, %q", s.Name, m.Pickup, kind, m.Set, m.Poles, o.ID, o.Under(), o.Set, o.Poles)
		}
		for i, h := range o.StringHeights() {
			if math.Abs(m.StringHeights[i]-h) > 0.05 {
				t.Errorf("%s: string %d at %.2f mm, ordered %.2f mm", s.Name, i+1, m.StringHeights[i], h)
			}
		}
	}
	if len(orders) > 0 {
		t.Errorf("no mount of %v", orders)
	}
}

func TestPolesWords(t *testing.T) {
	coil := func(kind PoleKind) Layout { return Layout{Coil: &Coil{Poles: kind}} }
	for want, o := range map[string]*Order{
		"rod": {Poles: Rod}, "blade": {Poles: Blade}, "screw (two poles a string)": {Poles: Screw, Layout: Layout{PolesPerString: 2}},
		"slug and screw (two coils)": {Poles: Slug, Layout: coil(Screw)}, "blade (two coils)": {Poles: Blade, Layout: coil(Blade)},
	} {
		if got := o.PolesWords(); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

// In inches the samples say the same, to half a thousandth.
func TestSamplesInInches(t *testing.T) {
	near := func(what string, got, want []float64) {
		t.Helper()
		if len(got) != len(want) {
			t.Errorf("%s: %v, want %v", what, got, want)
			return
		}
		for i := range want {
			if math.Abs(got[i]-want[i]) > 2*0.0127 {
				t.Errorf("%s: %v, want %v", what, got, want)
			}
		}
	}
	for _, s := range OrderFormat.Samples() {
		was, err := ParseOrder(s.Name, []byte(s.Text), Builtin())
		if err != nil {
			t.Fatal(err)
		}
		o, err := ParseOrder(s.Name, []byte(s.In(Inches)), Builtin())
		if err != nil {
			t.Errorf("%s: %v", s.Name, err)
			continue
		}
		if o.Units != Inches || o.Under() != was.Under() {
			t.Errorf("%s: in %s, %q", s.Name, o.Units, o.Under())
		}
		if r := o.FretboardRadius / mmPerInch; math.Abs(r-math.Round(r)) > 1e-9 {
			t.Errorf("%s: a radius of %g in", s.Name, r)
		}
		near(s.Name, append(o.StringHeights(), o.PoleHeights...), append(was.StringHeights(), was.PoleHeights...))
	}
	for _, s := range MountFormat.Samples() {
		was, err := ParseMount(s.Name, []byte(s.In(Millimetres)), Builtin())
		if err != nil {
			t.Fatal(err)
		}
		m, err := ParseMount(s.Name, []byte(s.In(Inches)), Builtin())
		if err != nil {
			t.Errorf("%s: %v", s.Name, err)
			continue
		}
		near(s.Name, append(m.PoleHeights, m.StringHeights...), append(was.PoleHeights, was.StringHeights...))
	}
}
