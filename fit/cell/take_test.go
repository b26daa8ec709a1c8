package cell

import (
	"math"
	"testing"

	"evenpole/capture/record"
)

func TestGatherKeepsWhatCannotBe(t *testing.T) {
	quiet := with(good(), func(r *record.Reading) { r.Mode, r.PoleHeight, r.Seq, r.Line = "Q", 9.4, 1, 2 })
	one := with(good(), func(r *record.Reading) { r.PoleHeight, r.Seq, r.Line = 9.4, 2, 3 })
	two := with(one, func(r *record.Reading) { r.RMS, r.Seq, r.Line = 11, 3, 4 })
	fine := with(good(), func(r *record.Reading) { r.String, r.Seq, r.Line = 2, 4, 5 })
	back := with(two, func(r *record.Reading) { r.Status, r.Line = record.Retracted, 6 })
	d := gather(t, []record.Reading{quiet, one, two, fine, back})
	if len(d.Cells) != 1 || d.leftOut(isImpossible) != 2 || len(d.Impossible) != 1 || d.Impossible[0].Takes != 1 {
		t.Fatalf("got %d cells, %v, %+v", len(d.Cells), d.LeftOut, d.Impossible)
	}
	all := 0
	for _, l := range d.LeftOut {
		all += l.Count
	}
	if all+d.Used != d.Readings {
		t.Errorf("%d left out and %d used of %d", all, d.Used, d.Readings)
	}
}

// A line through the takes by its own formula.
func TestTrendIsTheSlopeOfTakes(t *testing.T) {
	takes := []take{{level: 1, when: 10}, {level: 1.1, when: 20}, {level: 1.1, when: 30}, {level: 1.2, when: 40}}
	got := trendOf(takes, 1.1, 0.1)
	// Sum of squares of -15, -5, 5, 15; of these by -0.1, 0, 0, 0.1.
	if got.Mean != 25 || got.First != 10 || got.Last != 40 || got.Spread != 500 || math.Abs(got.Cross-3) > 1e-12 {
		t.Errorf("got %+v", got)
	}
	takes[3].level = 9 // one bad take is clipped at two deviations
	if got := trendOf(takes, 1.1, 0.1); math.Abs(got.Cross-4.5) > 1e-12 {
		t.Errorf("got %g, want 15*0.1 + 15*0.2", got.Cross)
	}
}
