package fit

import (
	"os"
	"slices"
	"testing"
)

// Whatever state stands in a model file, it is refused or it is a model that
// answers every question without a panic.
func FuzzModelState(f *testing.F) {
	if seeds, err := os.ReadDir("testdata/fuzz/FuzzModelState"); err != nil || len(seeds) < len(kinds) {
		f.Fatalf("%d seeds, expected one a kind: %v", len(seeds), err)
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
		s, heights := setup()
		m.Level(nil, s, heights)
		m.Uncertainty(s, heights)
		m.Warnings(s, heights)
		m.Parameters()
	})
}
