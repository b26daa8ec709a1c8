package fit

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"evenpole/fit/cell"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/mat"
)

const seeds = "testdata/fuzz/FuzzModelState"

// The seeds are states that are models, one a kind, so that what the fuzzer makes of them
// comes near to others.
func TestSeedsAreModels(t *testing.T) {
	for _, k := range kinds {
		text, err := os.ReadFile(filepath.Join(seeds, strings.ReplaceAll(k.name, "-", "_")))
		if err != nil {
			t.Fatal(err)
		}
		_, quoted, _ := strings.Cut(string(text), "[]byte(")
		state, err := strconv.Unquote(strings.TrimSuffix(strings.TrimSpace(quoted), ")"))
		if err != nil {
			t.Fatal(err)
		}
		m, err := k.decode([]byte(state))
		if err != nil {
			t.Fatalf("the seed of %s: %v", k.name, err)
		}
		predictNumbers(t, m)
	}
}

// Whatever state stands in a model file, it is refused, or it is a model that answers
// every question, and in numbers.
func FuzzModelState(f *testing.F) {
	if files, err := os.ReadDir(seeds); err != nil || len(files) < len(kinds) {
		f.Fatalf("%d seeds, expected one a kind: %v", len(files), err)
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
	m.Expect([]cell.Cell{*s.cell(0, heights)})
	if _, err := json.Marshal(m.Parameters()); err != nil {
		t.Error(err)
	}
}
