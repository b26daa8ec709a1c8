package shop

import (
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
		"heights": func(x *Trial) { x.Heights = []float64{2, 1, 1, 1, 1, 1} },
	} {
		trial := ordered
		if change(&trial); balance(trial) == first {
			t.Errorf("%s changes nothing", name)
		}
	}
	if balance(ordered) != first || o.StringHeightFirst != ordered.First {
		t.Error("the order was changed")
	}
}
