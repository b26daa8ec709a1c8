package fit

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"evenpole/capture"
)

// The chance of two takes to fall on one digit is as counted, in a million pairs
// of normal values.
func TestTiesAreAsUnlikelyAsStated(t *testing.T) {
	const scatter, value, step = 0.1, 40, 0.1
	rng := rand.New(rand.NewPCG(3, 3))
	draw := func() float64 { return math.Round(value*math.Exp(scatter*rng.NormFloat64())/step) * step }
	const pairs = 1_000_000
	seen := 0.0
	for range pairs {
		if draw() == draw() {
			seen++
		}
	}
	c := ceiling{value: value, at: 3, of: 3}
	stated := math.Exp(-ties(&c, peaks{scatter, step}) / 2) // two ties, and one choice of three takes
	if seen /= pairs; math.Abs(seen/stated-1) > 0.05 {
		t.Errorf("chance of a tie: seen %.5f, stated %.5f", seen, stated)
	}
}

func TestCeilingsWantMoreThanCoarseDigits(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	record := func(step, limit float64) *Data {
		var rows []capture.Reading
		for s := 1; s <= 6; s++ {
			for k := range 10 {
				rows = append(rows, with(good(), func(r *capture.Reading) {
					r.String, r.RMS = s, 10*math.Exp(0.03*rng.NormFloat64())
					r.Seq, r.Line = uint32(len(rows)+1), len(rows)+2
					r.Peak = math.Round(r.RMS*3.6*math.Exp(0.1*rng.NormFloat64())/step) * step
					if s == 4 {
						r.Peak = min(r.Peak, limit)
					}
					if k == 0 {
						r.PoleHeight = 1.5 // another cell, of one take
					}
				}))
			}
		}
		return gather(t, rows)
	}
	for _, step := range []float64{1, 0.625} { // to the last digit, and as a converter resolves
		if found := ceilings(record(step, 1e9)); len(found) > 0 {
			t.Errorf("peaks in steps of %g mV: got %+v", step, found)
		}
	}
	found := ceilings(record(0.01, 35))
	if len(found) != 1 || !reflect.DeepEqual(found[0].Strings, []int{4}) {
		t.Errorf("want the one of string 4, got %+v", found)
	}
}

func TestMergedJoinsRuns(t *testing.T) {
	got := merged([]Span{{0, 8, 9}, {1, 3, 3}, {0, 1, 4}, {0, 5, 5}, {0, 3, 4}})
	if want := []Span{{0, 1, 5}, {0, 8, 9}, {1, 3, 3}}; !reflect.DeepEqual(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}
