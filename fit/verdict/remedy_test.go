package verdict

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"evenpole/fit/level"
	"evenpole/profiles"
)

// Rods on a bench whose law is known: strings lie higher by 2 mm at the last
// string than at the first, as written, and the best move brings the pickup back.
// Deviations are those of the tilt alone: 0.5 x 2 mm in ln v from end to end.
func TestBestMove(t *testing.T) {
	rows := built(func(c, h, above []float64) {
		for i := range c {
			c[i], h[i] = 0.5, 0.8
		}
		lift(above, 0, 2)
	}, nil)
	o := rodOrder()
	for k := range rows {
		i := rows[k].String - 1
		rows[k].Core, rows[k].Gauge, rows[k].PoleHeight = 0.5, 0.5, 0.8
		rows[k].StringHeight = stringH + 2*float64(i)/5
		o.Strings[i].Core, o.Strings[i].Gauge = 0.5, 0.5
	}
	opt := Options{Bench: &Bench{Model: law}}
	v := check1(t, rows, o, opt)
	if v.Verdict != OutOfTolerance {
		t.Fatalf("got %q", v.Verdict)
	}
	contains(t, []string{v.Remedy}, "the model expects the worst string 0.0 dB off then, 4.3 dB now")
	contains(t, []string{v.Remedy}, "never press, pull or hammer")

	o.PickupRaise, o.PickupLower = 0.2, 0.2
	v = check1(t, rows, o, opt)
	contains(t, []string{v.Remedy}, "neither height nor tilt of the pickup brings every string within tolerance")

	o.Poles, o.ScrewPitch, o.PoleHeightMax = profiles.Screw, 0.8, 3
	v = check1(t, rows, o, opt)
	// The last string lacks 0.5 in ln v, and its pole stands 1 mm too low for it.
	contains(t, []string{v.Strings[5].Remedy}, "4.3 dB too quiet: raise its screw by about 1.00 mm (1.25 turns), to 1.80 mm")
}

// What a screw does to one string over it, it does to the other: it is turned until both are as far off, and not
// at all where that leaves them out of tolerance.
func TestStringsOverOneScrew(t *testing.T) {
	o := order(4)
	o.Poles, o.Tolerance, o.Layout.StringsPerPole = profiles.Screw, 1.5, 2
	at := func(dB float64) []float64 { return around(20 + dB) }
	v := check1(t, taken(at(-3), at(-2), at(2.5), at(2.5)), o, Options{})
	contains(t, []string{v.Strings[0].Remedy}, "3.0 dB too quiet: raise its screw, which moves string 2 as well (2.0 dB too quiet), until both are as far off, 0.5 dB")
	contains(t, []string{v.Strings[2].Remedy}, "2.5 dB too loud: lower its screw, which moves string 4 as well (2.5 dB too loud), until both are as far off, 0.0 dB")

	v = check1(t, taken(at(-3), at(1), at(1), at(1)), o, Options{})
	contains(t, []string{v.Strings[0].Remedy}, "3.0 dB too quiet, and string 2 over the same screw 1.0 dB too loud: no height of it serves both; try a string with a thicker core")

	o.Poles = profiles.Rod
	v = check1(t, taken(at(-3), at(1), at(1), at(1)), o, Options{})
	contains(t, []string{v.Strings[0].Remedy}, "3.0 dB too quiet: try a string with a thicker core")
	if strings.Contains(v.Strings[0].Remedy, "rewind") {
		t.Errorf("a higher pole would lift string 2 as well: %s", v.Strings[0].Remedy)
	}
}

func TestMovesInWords(t *testing.T) {
	for want, m := range map[string][2]float64{
		"move the pickup: raise it by 0.5 mm all along":                                   {0.5, 0.5},
		"move the pickup: lower it by 0.3 mm at string 6":                                 {0, -0.3},
		"move the pickup: raise it by 0.2 mm at string 1, lower it by 0.4 mm at string 6": {0.2, -0.4},
	} {
		if got := moves(m[0], m[1], 6); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

// orderAsBuilt wants the balance that the law makes of the pickup.
func orderAsBuilt() *profiles.Order {
	o := rodOrder()
	var mean float64
	for i, c := range cores {
		o.Offset = append(o.Offset, level.PerLn*law.level(profiles.String{Core: c}, stringH-tops[i]))
		mean += o.Offset[i] / 6
	}
	for i := range o.Offset {
		o.Offset[i] -= mean
	}
	return o
}

// A string of a known set is named where it would bring the string in: cores an
// eighth thicker give 2 ln 1.125 in ln v, 2.05 dB, to a string that lacks 3.6.
func TestStringThatWouldHelp(t *testing.T) {
	o := orderAsBuilt()
	opt := Options{Bench: &Bench{Model: law, Sets: []profiles.StringSet{{Name: "heavy", Strings: heavy()}}}}
	v := check1(t, built(nil, map[int]float64{4: -3.6}), o, opt)
	left := (3.6 - 2*math.Log(1.125)*level.PerLn) * 5 / 6
	contains(t, []string{v.Strings[3].Remedy}, fmt.Sprintf(`thicker core, such as 0.619 mm of set "heavy", which would leave %.1f dB`, left))
	contains(t, []string{v.Remedy}, "see first whether")
	v = check1(t, built(nil, map[int]float64{4: 3.6}), o, opt)
	contains(t, []string{v.Strings[3].Remedy}, "try a string with a thinner core; or rewind")
}

// A higher pole is advised up to where its string would strike it.
func TestHigherPoleThatTheStringWouldStrike(t *testing.T) {
	o := orderAsBuilt()
	o.PoleHeightMax, o.MinGap = stringH, 0.1
	opt := Options{Bench: &Bench{Model: law}}
	rows := built(nil, map[int]float64{4: -3.6})
	contains(t, []string{check1(t, rows, o, opt).Strings[3].Remedy}, "or rewind with a higher pole, about")
	o.MinGap = 2.5
	contains(t, []string{check1(t, rows, o, opt).Strings[3].Remedy}, "or rewind with a higher pole, beyond the order's limits")
}

// Copper from 75 °C to 20 °C by the temperature at which its resistance would be
// nothing, -234.5 °C (a figure of transformer and motor standards, from memory):
// (234.5 + 75) / (234.5 + 20) = 1.2161.
func TestResistanceAt20(t *testing.T) {
	near(t, "75 degrees", 1000/(Measured{1000, 75}).At20(), (234.5+75)/(234.5+20), 2e-4)
	near(t, "20 degrees", (Measured{6200, 20}).At20(), 6200, 1e-9)

	o := order(2)
	even := taken(around(20), around(20))
	v := check1(t, even, o, Options{Resistance: &Measured{6420, 27}})
	if r := v.Resistance; r.Target.Known() || !r.Within() || r.String() != "resistance 6420 ohm at 27.0 °C, 6248 ohm at 20 °C" {
		t.Errorf("got %q", r)
	}
	o.Resistance = 6000
	v = check1(t, even, o, Options{Resistance: &Measured{6420, 27}})
	contains(t, []string{v.Resistance.String()}, "+4.1 % off the 6000 ohm ordered")
	o.ResistanceTolerance = 5
	v = check1(t, even, o, Options{Resistance: &Measured{6420, 27}})
	contains(t, []string{v.Resistance.String()}, ", within +- 5 %")
	o.ResistanceTolerance = 4
	v = check1(t, even, o, Options{Resistance: &Measured{6420, 27}})
	contains(t, []string{v.Resistance.String()}, "not within +- 4 %")
	contains(t, v.Warnings, "the coil has 6248 ohm at 20 °C")
	if v.Verdict != Conforms {
		t.Errorf("got %q: the coil is no part of the balance", v.Verdict)
	}
	o.ResistanceTolerance = 0
	for _, c := range []struct {
		ordered, ohm float64
		refused      bool
		warned       string
	}{
		{0, 6.42, true, ""},
		{6000, 6.42, true, ""},
		{6000, 21, false, "the coil reads 21 ohm: it is shorted"},
		{6000, 0, false, "the coil reads 0.0 ohm: it is shorted"},
		{0, 0.3, false, "the coil reads 0.3 ohm: it is shorted, from end to end or between its leads"},
		{0, 150, false, ""},
		{8, 6.42, false, ""},
		{8000, 4100, false, ""},
	} {
		o.Resistance = c.ordered
		m := Measured{c.ohm, 20}
		v, err := Check(sequence(even), o, "P1", Options{Resistance: &m})
		switch {
		case c.refused:
			if err == nil || !strings.Contains(err.Error(), "looks like kilohm: in ohm that is 6420") {
				t.Errorf("%g ohm of %g: got %v", c.ohm, c.ordered, err)
			}
		case err != nil:
			t.Errorf("%g ohm of %g: %v", c.ohm, c.ordered, err)
		default:
			if said := strings.Join(v.Warnings, "; "); strings.Contains(said, "shorted") != (c.warned != "") || !strings.Contains(said, c.warned) {
				t.Errorf("%g ohm of %g: warned %q", c.ohm, c.ordered, said)
			}
		}
	}
	for _, m := range []Measured{{-1, 20}, {6000, 90}, {math.Inf(1), 20}} {
		if _, err := Check(sequence(even), o, "P1", Options{Resistance: &m}); err == nil || !strings.Contains(err.Error(), "resistance: expected") {
			t.Errorf("%v: got %v", m, err)
		}
	}
}
