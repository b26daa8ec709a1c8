package fit

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"evenpole/capture"
)

func TestGatherKeepsWhatCannotBe(t *testing.T) {
	quiet := with(good(), func(r *capture.Reading) { r.Mode, r.PoleHeight, r.Seq, r.Line = "Q", 9.4, 1, 2 })
	one := with(good(), func(r *capture.Reading) { r.PoleHeight, r.Seq, r.Line = 9.4, 2, 3 })
	two := with(one, func(r *capture.Reading) { r.RMS, r.Seq, r.Line = 11, 3, 4 })
	fine := with(good(), func(r *capture.Reading) { r.String, r.Seq, r.Line = 2, 4, 5 })
	back := with(two, func(r *capture.Reading) { r.Status, r.Line = capture.Retracted, 6 })
	d := gather(t, []capture.Reading{quiet, one, two, fine, back})
	if len(d.Cells) != 1 || d.leftOut(isImpossible) != 2 || len(d.impossible) != 1 || d.impossible[0].Takes != 1 {
		t.Fatalf("got %d cells, %v, %+v", len(d.Cells), d.LeftOut, d.impossible)
	}
	all := 0
	for _, l := range d.LeftOut {
		all += l.Count
	}
	if all+d.Used != d.Readings {
		t.Errorf("%d left out and %d used of %d", all, d.Used, d.Readings)
	}
	found := Screen(d)
	if len(found) != 1 || !reflect.DeepEqual(found[0].Rows, []Span{{0, 2, 4}, {0, 6, 6}}) {
		t.Errorf("want one mistake with its quiet level and what was taken back, got %+v", found)
	}
}

// A line through the takes by its own formula.
func TestTrendIsTheSlopeOfTakes(t *testing.T) {
	takes := []take{{level: 1, when: 10}, {level: 1.1, when: 20}, {level: 1.1, when: 30}, {level: 1.2, when: 40}}
	got := trendOf(takes, 1.1, 0.1)
	// Sum of squares of -15, -5, 5, 15; of these by -0.1, 0, 0, 0.1.
	if got.mean != 25 || got.first != 10 || got.last != 40 || got.spread != 500 || math.Abs(got.cross-3) > 1e-12 {
		t.Errorf("got %+v", got)
	}
	takes[3].level = 9 // one bad take is clipped at two deviations
	if got := trendOf(takes, 1.1, 0.1); math.Abs(got.cross-4.5) > 1e-12 {
		t.Errorf("got %g, want 15*0.1 + 15*0.2", got.cross)
	}
}

// The chance of two takes to fall on one digit is as counted, in a million pairs
// of normal values.
func TestTiesAreAsUnlikelyAsStated(t *testing.T) {
	const scatter, value, step = 0.1, 40, 0.1
	rng := rand.New(rand.NewPCG(3, 3))
	draw := func() float64 { return math.Round(value*math.Exp(scatter*rng.NormFloat64())/step) * step }
	const pairs = 1_000_000
	ties := 0.0
	for range pairs {
		if draw() == draw() {
			ties++
		}
	}
	c := ceiling{value: value, at: 3, of: 3}
	stated := math.Exp(-c.evidence(peaks{scatter, step}) / 2) // two ties, and one choice of three takes
	if seen := ties / pairs; math.Abs(seen/stated-1) > 0.05 {
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
