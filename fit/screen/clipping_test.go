package screen

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"evenpole/capture/record"
	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
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
	c := cell.Ceiling{Value: value, Reached: 3, Takes: 3}
	stated := math.Exp(-ties(&c, peaks{scatter, step}) / 2) // two ties, and one choice of three takes
	if seen /= pairs; math.Abs(seen/stated-1) > 0.05 {
		t.Errorf("chance of a tie: seen %.5f, stated %.5f", seen, stated)
	}
}

func TestCeilingsWantMoreThanCoarseDigits(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	record := func(step, limit float64) *cell.Data {
		var rows []record.Reading
		for s := 1; s <= 6; s++ {
			for k := range 10 {
				rows = append(rows, celltest.Good(func(r *record.Reading) {
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
		return celltest.Gather(t, rows)
	}
	for _, step := range []float64{1, 0.625} { // to the last digit, and as a converter resolves
		if found := clippedTakes(record(step, 1e9)); len(found) > 0 {
			t.Errorf("peaks in steps of %g mV: got %+v", step, found)
		}
	}
	found := clippedTakes(record(0.01, 35))
	if len(found) != 1 || !reflect.DeepEqual(found[0].Strings, []int{4}) {
		t.Errorf("want the one of string 4, got %+v", found)
	}
}

func TestMergedJoinsRuns(t *testing.T) {
	span := func(file, first, last int32) cell.Span { return cell.Span{File: file, First: first, Last: last} }
	got := mergeSpans([]cell.Span{span(0, 8, 9), span(1, 3, 3), span(0, 1, 4), span(0, 5, 5), span(0, 3, 4)})
	if want := []cell.Span{span(0, 1, 5), span(0, 8, 9), span(1, 3, 3)}; !reflect.DeepEqual(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestScreenNamesAllRowsOfAnImpossibleCell(t *testing.T) {
	quiet := celltest.Good(func(r *record.Reading) { r.Mode, r.PoleHeight, r.Seq, r.Line = record.Quiet, 9.4, 1, 2 })
	one := celltest.Good(func(r *record.Reading) { r.PoleHeight, r.Seq, r.Line = 9.4, 2, 3 })
	two := celltest.Good(func(r *record.Reading) { r.PoleHeight, r.RMS, r.Seq, r.Line = 9.4, 11, 3, 4 })
	fine := celltest.Good(func(r *record.Reading) { r.String, r.Seq, r.Line = 2, 4, 5 })
	back := two
	back.Status, back.Line = record.Retracted, 6
	found := mustScreen(t, celltest.Gather(t, []record.Reading{quiet, one, two, fine, back}))
	if len(found) != 1 || !reflect.DeepEqual(found[0].Rows, []cell.Span{{First: 2, Last: 4}, {First: 6, Last: 6}}) {
		t.Errorf("want one mistake with its quiet level and what was taken back, got %+v", found)
	}
}
