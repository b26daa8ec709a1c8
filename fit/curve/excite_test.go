package curve

import (
	"math"
	"testing"

	"evenpole/profiles"
)

// The tension of an ideal string does it directly: a fixed force gives a
// displacement in inverse proportion to it.
func TestConvertFollowsTension(t *testing.T) {
	strings := []profiles.String{
		{Note: "E4", Gauge: 0.254, Core: 0.254, Wrap: "plain"},
		{Note: "G3", Gauge: 0.432, Core: 0.432, Wrap: "plain"},
		{Note: "E2", Gauge: 1.168, Core: 0.419, Wrap: "nickel"},
	}
	const scale = 0.648 // m; any will do
	var want []float64
	for _, s := range strings {
		hz, err := profiles.Pitch(s.Note)
		if err != nil {
			t.Fatal(err)
		}
		want = append(want, -math.Log(profiles.UnitMass(s)*math.Pow(2*scale*hz, 2)))
	}
	got := Convert(profiles.Travel, profiles.Force, strings)
	back := Convert(profiles.Force, profiles.Travel, strings)
	var sum float64
	for i := range got {
		sum += got[i]
		if d := (got[i] - got[0]) - (want[i] - want[0]); math.Abs(d) > 1e-12 {
			t.Errorf("string %d: off by %g", i+1, d)
		}
		if math.Abs(got[i]+back[i]) > 1e-12 {
			t.Errorf("string %d: there %g, back %g", i+1, got[i], back[i])
		}
	}
	if math.Abs(sum) > 1e-12 {
		t.Errorf("the mean level moves by %g", sum/3)
	}
}

func TestConvertNeedsNotes(t *testing.T) {
	unnamed := []profiles.String{{Note: "E4", Gauge: 0.25, Core: 0.25, Wrap: "plain"}, {Gauge: 0.3, Core: 0.3, Wrap: "plain"}}
	if got := Convert(profiles.Travel, profiles.Force, unnamed); got != nil {
		t.Errorf("a string without note: got %v, want nil", got)
	}
	if got := Convert("", profiles.Force, unnamed[:1]); got != nil {
		t.Errorf("an unknown excitation: got %v, want nil", got)
	}
	if got := Convert(profiles.Drive, profiles.Travel, unnamed[:1]); len(got) != 1 {
		t.Errorf("drive to travel: got %v", got)
	}
}
