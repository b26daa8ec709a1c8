package plan

import (
	"math"
	"testing"
)

// Magnets go where they serve: a pole that cannot stand higher gets the
// strongest. Trying every assignment finds nothing better.
func TestMagnetsAreMatched(t *testing.T) {
	o := order(3, 0.2, 0.1)
	m := line([]float64{0, -1.2, 0.3}, []float64{2, 2, 2}).independent(0.1, 0.1, 0.1)
	m.magnets = map[string]float64{"a": 0, "b": 0.6, "c": -0.5, "d": 0.1, "e": -0.4, "f": 0.05}
	stock := []string{"a", "b", "c", "d", "e", "f"}
	p := made(t, o, m, Options{Stock: stock})
	if p.Poles[1].Magnet != "b" {
		t.Errorf("the strongest magnet is not under the string that lacks most: %+v", p.Poles)
	}
	least := math.Inf(1)
	every([]int{6, 6, 6}, func(index []int) {
		if index[0] == index[1] || index[1] == index[2] || index[0] == index[2] {
			return
		}
		j := newJobOf(t, o, m).withStock(stock).withMagnets(index)
		s, err := j.newSearch()
		if err != nil {
			t.Fatal(err)
		}
		best, err := s.best()
		if err != nil {
			t.Fatal(err)
		}
		least = min(least, ownOf(t, s, best))
	})
	if p.Worst > least+0.02 {
		t.Errorf("got %.3f dB off, the best is %.3f", p.Worst, least)
	}
}

func (j *job) withStock(stock []string) *job {
	j.opt.Stock = stock
	return j
}

// Magnets that the model does not tell apart, too few of them, or magnets that
// the order names already: none are chosen.
func TestMagnetsAreLeftAlone(t *testing.T) {
	o := order(2, 1, 0.1)
	m := line([]float64{0, 1}, []float64{2, 2})
	if p := made(t, o, m, Options{Stock: []string{"a", "b", "c"}}); p.Poles[0].Magnet != "" {
		t.Errorf("all alike: got %+v", p.Poles)
	}
	m.magnets = map[string]float64{"a": 1}
	if p := made(t, o, m, Options{Stock: []string{"a"}}); p.Poles[0].Magnet != "" {
		t.Errorf("too few: got %+v", p.Poles)
	}
	o.Magnets = []string{"x", "y"}
	if p := made(t, o, m, Options{Stock: []string{"a", "b", "c"}}); p.Poles[0].Magnet != "x" {
		t.Errorf("named: got %+v", p.Poles)
	}
}
