package plan

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// Equal strings within a hair of each other need no stagger; the plan says what
// that costs.
func TestSimplerIsPreferred(t *testing.T) {
	o := order(4, 2, 0.05)
	m := line([]float64{0, 0.15, 0, 0}, []float64{2, 2, 2, 2}).independent(0.5, 0.5, 0.5, 0.5)
	p := made(t, o, m, Options{})
	if !slices.Equal(p.Heights, p.Flat.Heights) {
		t.Errorf("0.15 dB apart: got %v, want flat", p.Heights)
	}
	if p.Cost <= 0 || p.Cost > equalWithin {
		t.Errorf("flat costs %.4f dB, want more than nothing and at most %g", p.Cost, equalWithin)
	}

	m = line([]float64{0, 3, 3.05, 0.08}, []float64{2, 2, 2, 2}).independent(0.5, 0.5, 0.5, 0.5)
	p = made(t, o, m, Options{})
	heights := slices.Clone(p.Heights)
	slices.Sort(heights)
	if n := len(slices.Compact(heights)); n != 2 || p.Heights[1] != p.Heights[2] || p.Heights[0] != p.Heights[3] {
		t.Errorf("two pairs: got %v, want two heights", p.Heights)
	}
}

// What the simplest stagger gives away is what the forecasts of both say.
func TestCostOfSimplicity(t *testing.T) {
	r := rand.New(rand.NewPCG(12, 1))
	simpler := 0
	for range 30 {
		o, m := doubtful(r, 6, 2.6, 0.05)
		j := newJobOf(t, o, m)
		p := made(t, o, m, Options{})
		best, err := j.forecast(p.Best)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(p.Best, p.Heights) {
			simpler++
		}
		closeTo(t, "cost", p.Worst-best.Worst, p.Cost, 0.015)
		if p.Worst > best.Worst+equalWithin+0.015 {
			t.Errorf("%v is %.4f dB off, %v %.4f", p.Heights, p.Worst, p.Best, best.Worst)
		}
	}
	if simpler == 0 {
		t.Error("no stagger was made simpler: nothing was tested")
	}
}
