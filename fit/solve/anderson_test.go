package solve

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/floats"
)

// A search that takes hundreds of plain steps takes a few, and ends in the same place.
func TestAndersonEndsWherePlainStepsDo(t *testing.T) {
	g := func(x []float64) []float64 {
		return []float64{0.9*x[0] + 0.3*math.Cos(x[1]), 0.5*x[1] + 0.1*math.Sin(x[0]), -0.4*x[2] + 0.1*x[0]}
	}
	search := func(next func(x, g []float64) []float64) (x []float64, steps int) {
		x = []float64{1, 1, 1}
		for to := g(x); ; to = g(x) {
			steps++
			if floats.Distance(x, to, math.Inf(1)) < 1e-10 {
				return to, steps
			}
			x = next(x, to)
		}
	}
	want, plain := search(func(_, g []float64) []float64 { return slices.Clone(g) })
	a := &Anderson{Unit: []float64{1, 2, 1}}
	got, steps := search(a.Next)
	for j := range want {
		if math.Abs(got[j]-want[j]) > 1e-8 {
			t.Errorf("entry %d: got %.12g, plain steps end at %.12g", j, got[j], want[j])
		}
	}
	if plain < 200 || steps > 50 {
		t.Errorf("%d steps, %d plain ones", steps, plain)
	}
}

// A first step is the plain one, and one after equal steps is no longer than some of them.
func TestAndersonIsBounded(t *testing.T) {
	a := &Anderson{Unit: []float64{1}}
	if got := a.Next([]float64{0}, []float64{1}); got[0] != 1 {
		t.Errorf("first step to %g", got[0])
	}
	if got := a.Next([]float64{1}, []float64{2}); !(got[0] >= 2 && got[0] <= 1+andersonMost) { // equal steps lead to infinity
		t.Errorf("second step to %g", got[0])
	}
}
