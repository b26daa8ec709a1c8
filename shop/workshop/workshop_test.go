package workshop

import (
	"math"
	"reflect"
	"testing"

	"evenpole/profiles"
)

// What is on the jig stands as it was built, within what a caliper may say of it;
// the same seed builds the same.
func TestJobs(t *testing.T) {
	jobs := func() (w *Workshop, all []Job) {
		w, err := New(7)
		if err != nil {
			t.Fatal(err)
		}
		return w, append(w.TestPickups(), w.Build([]float64{1, 1, 1, 1, 1, 1}))
	}
	w, all := jobs()
	if _, again := jobs(); len(all) != 13 || !reflect.DeepEqual(all, again) {
		t.Fatalf("%d jobs", len(all))
	}
	for _, j := range all {
		m, err := profiles.ParseMount(j.Name, []byte(j.MountText()), profiles.Builtin())
		if err != nil {
			t.Fatal(err)
		}
		mounted, err := w.Mounted(&j, m)
		if err != nil {
			t.Fatal(err)
		}
		for i, p := range mounted.Poles {
			if off := math.Abs(p.Height - m.PoleHeights[i]); p.Height != j.built[i] || off > 6*caliper {
				t.Errorf("%s: pole %d stands at %g mm and is said to at %g", j.Name, i+1, p.Height, m.PoleHeights[i])
			}
		}
	}
}
