package repeat

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
)

// TestDesignIsAsCertainAsItSays draws studies of the planned size from the guess,
// analyses each, and looks how far the estimates of the check's scatter lie from
// each other: a variance with so many degrees of freedom varies by sqrt(2/dof).
func TestDesignIsAsCertainAsItSays(t *testing.T) {
	if testing.Short() {
		t.Skip("simulation")
	}
	for _, operators := range []int{1, 3} {
		w := Wish{Operators: operators, Certainty: 1, Guess: Guess{Take: 0.3, Mounting: 0.2, Sitting: 0.15, Operator: 0.1}}
		d, err := NewDesign(w)
		if err != nil {
			t.Fatal(err)
		}
		rng := rand.New(rand.NewPCG(3, uint64(operators)))
		var variances []float64
		for range 25 {
			runs := drawRuns(rng, d)
			sources, _ := sourcesOf(runs)
			e, err := balanceOf(runs, sources).estimate()
			if err != nil {
				t.Fatal(err)
			}
			v, _ := e.sum(e.ofMounting(d.Check))
			variances = append(variances, v*(1-1/6.0))
		}
		mean, sd := stat.MeanStdDev(variances, nil)
		t.Logf("%d operators: %d sittings of %d mountings of %d takes; sd %.3f, %.3f expected; spread %.3f, %.3f expected",
			operators, d.Sittings, d.Mountings, d.Takes, math.Sqrt(mean), d.SD, sd/mean, math.Sqrt(2/d.DOF))
		near(t, "variance", mean/(d.SD*d.SD), 1, 0.25)
		near(t, "its spread", sd/mean/math.Sqrt(2/d.DOF), 1, 0.4)
	}
}

func TestDesignWishes(t *testing.T) {
	loose, err := NewDesign(Wish{Certainty: 0.5})
	if err != nil {
		t.Fatal(err)
	}
	strict, err := NewDesign(Wish{Certainty: 0.15})
	if err != nil {
		t.Fatal(err)
	}
	if strict.Minutes <= loose.Minutes || strict.DOF <= loose.DOF {
		t.Errorf("more certainty costs nothing: %+v and %+v", strict, loose)
	}
	if n := len(strict.Plan); n != strict.Operators*strict.Sittings*strict.Mountings {
		t.Errorf("a plan of %d mountings", n)
	}
	for _, w := range []Wish{{Strings: 1}, {Operators: -1}, {Takes: -1}, {Certainty: -1}, {Certainty: 0.001}, {Guess: Guess{Take: -1}}} {
		if few := (*TooFew)(nil); !errors.As(second(NewDesign(w)), &few) {
			t.Errorf("%+v: no refusal", w)
		}
	}
}

func second[T any](_ T, err error) error { return err }
