package fit

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"evenpole/fit/cell"
	"evenpole/profiles"
)

// TestArc: the rise of a circle over its chord is known (R - sqrt(R^2 - w^2/4)), and
// a tilt is none. A parabola by least squares is a little off a circle.
func TestArc(t *testing.T) {
	for _, radius := range []float64{184, 241, 305} {
		want := radius - math.Sqrt(radius*radius-25.5*25.5)
		if got := arcOf(profiles.ArcHeights(radius, 51, 6, 3, 3.6)); math.Abs(got-want) > 0.02*want {
			t.Errorf("radius %v: rises %.3f mm, want %.3f", radius, got, want)
		}
		if got := radiusOf(want, 10.2); got != fmt.Sprintf("%.0f mm", radius) {
			t.Errorf("radius %v: read as %s", radius, got)
		}
	}
	if seven, six := arcOf(profiles.ArcHeights(241, 61.2, 7, 3, 3)), arcOf(profiles.ArcHeights(241, 51, 6, 3, 3)); math.Abs(seven-six) > 0.01*six {
		t.Errorf("the same fretboard under seven strings: %.3f mm, %.3f under six", seven, six)
	}
	if got := arcOf([]float64{3, 3.2, 3.4, 3.6}); math.Abs(got) > 1e-12 {
		t.Errorf("a tilted flat row rises %v mm", got)
	}
	if !math.IsNaN(arcOf([]float64{3, 4})) || !math.IsNaN(arcOf([]float64{3, math.NaN(), 3})) {
		t.Error("an arc of two strings, or with one missing")
	}
}

// TestWarnsOfOtherRadius: what mountings of one radius say of others.
func TestWarnsOfOtherRadius(t *testing.T) {
	var cells []cell.Cell
	for i, h := range profiles.ArcHeights(241, 51, 6, 3, 3) {
		cells = append(cells, cell.Cell{Mounting: &cell.Mounting{Pickup: "p", Session: "s"}, String: i + 1, Core: 0.3, Wrap: profiles.Plain, StringHeight: h})
	}
	r := rangeOf(cells)
	for radius, want := range map[float64]string{184: "(184 mm)", 254: "", 0: "(flat)"} {
		s := &Setup{StringHeights: profiles.ArcHeights(radius, 51, 6, 3, 3), Spacing: 10.2, Strings: make([]profiles.String, 6)}
		said := slices.IndexFunc(r.warnings(s, make([]float64, 6)), func(w string) bool {
			return strings.HasPrefix(w, "radius of the strings' arc "+want+" beyond what was measured (24")
		})
		if (said >= 0) != (want != "") {
			t.Errorf("radius %v: %q", radius, r.warnings(s, make([]float64, 6)))
		}
	}
	if again := rangeOf(cells[:2]); again.Arc != [2]float64{} {
		t.Errorf("two strings have an arc: %v", again.Arc)
	}
}
