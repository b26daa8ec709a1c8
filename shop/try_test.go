package shop

import (
	"math"
	"testing"

	"evenpole/fit"
	"evenpole/profiles"
	"evenpole/shop/workshop"
)

// What is tried changes the answer, and leaves the order as it was.
func TestTry(t *testing.T) {
	s := &Shop{}
	o, err := s.ParseOrder("order", workshop.OrderText)
	if err != nil {
		t.Fatal(err)
	}
	m := fit.Handbook(profiles.Travel)
	balance := func(trial Trial) float64 {
		t.Helper()
		x, _, err := s.Try(o, m, trial)
		if err != nil {
			t.Fatal(err)
		}
		return x.Strings[0].Balance
	}
	ordered := Trial{Radius: o.FretboardRadius, First: o.StringHeightFirst, Last: o.StringHeightLast, Heights: []float64{1}}
	first := balance(ordered)
	for name, change := range map[string]func(*Trial){
		"radius": func(x *Trial) { x.Radius = 0 }, "first": func(x *Trial) { x.First++ }, "last": func(x *Trial) { x.Last++ },
		"tilt":    func(x *Trial) { x.Tilt = 1 },
		"heights": func(x *Trial) { x.Heights = []float64{2, 1, 1, 1, 1, 1} },
	} {
		trial := ordered
		if change(&trial); balance(trial) == first {
			t.Errorf("%s changes nothing", name)
		}
	}
	raised, nearer := ordered, ordered
	raised.Raise, raised.Tilt = 0.5, 0.4
	nearer.First, nearer.Last = nearer.First-0.5+0.2, nearer.Last-0.5-0.2
	if got, want := balance(raised), balance(nearer); math.Abs(got-want) > 1e-9 {
		t.Errorf("raised and tilted: %g, its strings as near: %g", got, want)
	}
	if _, _, err := s.Try(o, m, Trial{Radius: o.FretboardRadius, First: 3, Last: 3, Raise: 2.9, Heights: []float64{0}}); err == nil {
		t.Error("a pickup was raised into its strings")
	}
	if balance(ordered) != first || o.StringHeightFirst != ordered.First {
		t.Error("the order was changed")
	}
}

// Strings that were measured one by one move with the pickup.
func TestTryMovesMeasuredStrings(t *testing.T) {
	o := &profiles.Order{MeasuredHeights: []float64{3, 3.5, 3.4}, StringHeightFirst: 3, StringHeightLast: 3.4}
	trial := Trial{First: 3, Last: 3.6, Raise: 0.5}
	for i, got := range trial.On(o).MeasuredHeights {
		if want := []float64{2.5, 3.1, 3.1}[i]; math.Abs(got-want) > 1e-12 {
			t.Errorf("string %d: %g mm, want %g", i+1, got, want)
		}
	}
	if o.MeasuredHeights[0] != 3 {
		t.Error("the order was changed")
	}
}
