package fit

import (
	"encoding/json"
	"slices"
	"testing"

	"evenpole/fit/cell/celltest"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/mat"
)

// Whatever state stands in a model file, it is refused, or it is a model that answers
// every question, and in numbers.
func FuzzModelState(f *testing.F) {
	d := celltest.Sample(f)
	for _, k := range kinds {
		m, err := k.fit(d)
		if err != nil {
			f.Fatal(err)
		}
		state, err := json.Marshal(m)
		if err != nil {
			f.Fatal(err)
		}
		if _, err := k.decode(state); err != nil {
			f.Fatalf("the seed of %s: %v", k.name, err)
		}
		f.Add(k.name, state)
	}
	f.Fuzz(func(t *testing.T, kind string, state []byte) {
		k, err := kindOf(kind)
		if err != nil {
			if slices.Contains(Kinds(), kind) {
				t.Error(err)
			}
			return
		}
		m, err := k.decode(state)
		if err != nil {
			return
		}
		predictNumbers(t, m)
		m.Expect(d.Cells)
	})
}

// predictNumbers fails unless a model predicts numbers that can be written as JSON.
func predictNumbers(t *testing.T, m Model) {
	t.Helper()
	s, heights := setup()
	for _, y := range m.Level(nil, s, heights) {
		if !solve.Finite(y) {
			t.Errorf("level %g", y)
		}
	}
	cov := m.Uncertainty(s, heights)
	for i := range heights {
		if v := cov.At(i, i); !(v >= 0) || !solve.Finite(v) {
			t.Errorf("variance %g", v)
		}
	}
	if !solve.Finite(mat.Sum(cov)) {
		t.Errorf("uncertainty %v", mat.Formatted(cov))
	}
	m.Warnings(s, heights)
	if _, err := json.Marshal(m.Parameters()); err != nil {
		t.Error(err)
	}
}
