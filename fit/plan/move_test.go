package plan

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// A pickup whose poles stand as they are is tilted: string 1 is 1 dB too loud at
// 2 dB a mm of gap, string 2 on target, string 3 1 dB too soft.
func TestFixedPolesAreTilted(t *testing.T) {
	o := order(3, 2, 0.05)
	o.FixedHeights, o.PickupRaise, o.PickupLower = []float64{0.4, 0.4, 0.4}, 1, 1
	m := line([]float64{1, 0, -1}, []float64{2, 2, 2}).independent(0.1, 0.1, 0.1)
	m.byGap = true
	p := made(t, o, m, Options{})
	if !slices.Equal(p.Heights, o.FixedHeights) || p.Flat != nil || p.Move == nil {
		t.Fatalf("got %v, flat %v, move %v", p.Heights, p.Flat, p.Move)
	}
	closeTo(t, "tilt", p.Move.RaiseLast-p.Move.RaiseFirst, 1, 0.11)
	closeTo(t, "string height", p.Move.StringHeightFirst, 3-p.Move.RaiseFirst, 1e-9)
	closeTo(t, "gap", p.Gaps[0], 2.6-p.Move.RaiseFirst, 1e-9)
	if p.Worst > 0.3 || p.Advice != MovePickup {
		t.Errorf("still %.2f dB off at the worst string; advice: %s", p.Worst, p.Advice)
	}

	// As it hangs, string 1 is 1 dB too loud; it stands beside the plan.
	closeTo(t, "as it hangs", p.Move.Unmoved.Deviation[0], 1, 1e-9)
	if names := staggerNames(p); !slices.Equal(names, []string{"plan", "as it hangs", "strings' arc"}) {
		t.Errorf("side by side: %q", names)
	}

	// Trying everything on the grid, with forecast, finds nothing better.
	least := math.Inf(1)
	j := newJobOf(t, o, m)
	for _, first := range j.travels() {
		for _, last := range j.travels() {
			got, err := j.moved(first, last).forecast(o.FixedHeights)
			if err != nil {
				t.Fatal(err)
			}
			least = min(least, got.Worst)
		}
	}
	if p.Worst > least+equalWithin+0.005 {
		t.Errorf("got %.3f dB off, the best is %.3f", p.Worst, least)
	}
}

func staggerNames(p *Plan) []string {
	var names []string
	for _, s := range p.Staggers() {
		names = append(names, s.Name)
	}
	return names
}

// Already right, a pickup is left where it hangs.
func TestFixedPolesThatServeStay(t *testing.T) {
	o := order(3, 2, 0.05)
	o.FixedHeights, o.PickupRaise, o.PickupLower = []float64{0.4, 0.4, 0.4}, 1, 1
	m := line([]float64{0, 0, 0}, []float64{2, 2, 2}).independent(0.1, 0.1, 0.1)
	m.byGap = true
	p := made(t, o, m, Options{})
	if p.Move.RaiseFirst != 0 || p.Move.RaiseLast != 0 || p.Advice != LeavePickup {
		t.Errorf("moved by %+v; advice: %s", p.Move, p.Advice)
	}

	// A pole that reaches its string leaves no forecast of it as it hangs.
	o.FixedHeights, o.PickupLower = []float64{3, 3, 3}, 1.5
	if p := made(t, o, m, Options{}); p.Move.Unmoved != nil {
		t.Errorf("poles in their strings have a forecast: %+v", p.Move.Unmoved)
	}
}

// Too near to a string, a pickup is lowered until its gap is kept; when it
// cannot be, that is an error with what is lacking.
func TestFixedPolesKeepTheirGap(t *testing.T) {
	o := order(3, 2, 0.05)
	o.FixedHeights, o.PickupLower, o.MinGap, o.StringSwing = []float64{1.5, 1.5, 1.5}, 1, 1.2, 0.6
	m := line([]float64{0, 0, 0}, []float64{2, 2, 2})
	p := made(t, o, m, Options{})
	if got := slices.Min(p.Gaps); got < 1.8-1e-9 {
		t.Errorf("a gap of %.2f mm, want 1.8 at least", got)
	}
	o.PickupLower = 0.2
	if _, err := Make(t.Context(), o, m, Options{}); err == nil || !strings.Contains(err.Error(), "by 0.10 mm at the best") {
		t.Errorf("got %v", err)
	}
}

// As it hangs a pickup is expected out of tolerance, and moved within: that both have hardly a
// chance, as little is known, is no reason to leave it.
func TestFixedPolesAreMovedWithinWhereBothAreUnlikely(t *testing.T) {
	o := order(3, 2, 0.05)
	o.FixedHeights, o.PickupRaise, o.PickupLower = []float64{0.4, 0.4, 0.4}, 1, 1
	m := line([]float64{1.2, 0, -1.2}, []float64{2, 2, 2}).independent(9, 9, 9)
	m.byGap = true
	p := made(t, o, m, Options{})
	if was, is := p.Move.Unmoved.Meets, p.Meets; is-was > asLikely || p.Advice != MovePickup {
		t.Errorf("within with a chance of %.3f, as it hangs %.3f; advice: %s", is, was, p.Advice)
	}
}
