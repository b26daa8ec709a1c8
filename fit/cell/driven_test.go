package cell

import (
	"math"
	"slices"
	"strings"
	"testing"

	"evenpole/profiles"
)

// drivenRecord is pickups A (captured both ways), B (driven) and C (driven, under a set
// that A never had).
func drivenRecord() *Data {
	var cells []Cell
	add := func(pickup, set string, excite profiles.Excitation, lift float64, level func(n int) float64) {
		for n := 1; n <= 3; n++ {
			cells = append(cells, Cell{Mounting: &Mounting{Pickup: pickup, Set: set, Excite: excite}, String: n, PoleHeight: 1, StringHeight: 3 + lift, Mean: level(n), Takes: 4})
		}
	}
	add("A", "s", profiles.Force, 0, func(n int) float64 { return 2 + 0.3*float64(n) })
	add("A", "s", profiles.Drive, 0.1, func(n int) float64 { return 1 - usualFall*0.1 })
	add("B", "s", profiles.Drive, 0, func(n int) float64 { return 1.5 })
	add("C", "t", profiles.Drive, 0, func(n int) float64 { return 1 })
	return &Data{Cells: cells}
}

// TestJoinDriven: what a pluck gives each string beside an exciter is learned from a
// pickup that was captured both ways; strings of which it is not known stay driven.
func TestJoinDriven(t *testing.T) {
	d := drivenRecord()
	d.JoinDriven()
	for _, c := range d.Cells {
		switch want := 2.5 + 0.3*float64(c.String); {
		case c.Pickup == "B" && (c.Excite != profiles.Force || math.Abs(c.Mean-want) > 1e-12):
			t.Errorf("B, string %d: %q, %.4f, want %.4f", c.String, c.Excite, c.Mean, want)
		case c.Pickup == "C" && (c.Excite != profiles.Drive || c.Mean != 1):
			t.Errorf("C, string %d: %q, %.4f", c.String, c.Excite, c.Mean)
		}
	}
	said := strings.Join(d.Remarks, "\n")
	for _, want := range []string{"6 driven cells counted as plucked: ", "+11.3 to +16.5 dB", "3 driven cells left out, ", "capture one pickup under t both ways"} {
		if !strings.Contains(said, want) {
			t.Errorf("no %q in\n%s", want, said)
		}
	}
}

// TestJoinDrivenOnly: a record of one kind of excitation stays as it is, and so does one
// in which plucks were made in two ways.
func TestJoinDrivenOnly(t *testing.T) {
	for _, keep := range [][]profiles.Excitation{{profiles.Drive}, {profiles.Force}} {
		d := drivenRecord()
		d.Cells = slices.DeleteFunc(d.Cells, func(c Cell) bool { return !slices.Contains(keep, c.Excite) })
		before := slices.Clone(d.Cells)
		d.JoinDriven()
		for i, c := range d.Cells {
			if c.Mean != before[i].Mean || c.Excite != before[i].Excite {
				t.Errorf("%q: cell %d is another", keep, i)
			}
		}
		if d.Remarks != nil {
			t.Errorf("%q: %q", keep, d.Remarks)
		}
	}
	d := drivenRecord()
	d.Cells[0].Remount(func(m *Mounting) { m.Excite = profiles.Travel })
	if d.JoinDriven(); d.Remarks != nil {
		t.Errorf("two kinds of plucks: %q", d.Remarks)
	}
}

// TestEquivalent: equal rows are one row; with equal shares and small differences the
// middle counts, a little more the nearer row; a row that hardly hears counts for little.
func TestEquivalent(t *testing.T) {
	for _, c := range []struct{ first, second, gain, want, within float64 }{
		{1, 1, 0.8, 1, 1e-12}, {0, 1, 1, 0.5, 0.06}, {0, 2, 0.01, 0, 0.05}, {0, 1, -1, 0, 0},
	} {
		if got := Equivalent(c.first, c.second, c.gain); math.Abs(got-c.want) > c.within || c.first != c.second && c.gain > 0 && got <= c.want {
			t.Errorf("%g and %g mm, gain %g: %.4f mm, want %.4f", c.first, c.second, c.gain, got, c.want)
		}
	}
}
