package fit

import (
	"math/rand/v2"
	"testing"

	"evenpole/fit/cell"
)

// A shop with 100 pickups of 12 cells: the fit, and the fit with its
// cross-validation.
func BenchmarkFit(b *testing.B) {
	d := &cell.Data{Cells: truth{pole: 0.45, core: 1.1, lift: -0.5, noise: 0.05}.cells(rand.New(rand.NewPCG(1, 1)), 100)}
	b.Run("once", func(b *testing.B) {
		for b.Loop() {
			if _, err := logHeight.fit(d); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("judged", func(b *testing.B) {
		for b.Loop() {
			if _, err := measuredAs(d, logHeight.name); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// One prediction for a set of three strings: planning asks for many.
func BenchmarkLevel(b *testing.B) {
	m, err := logHeight.fit(&cell.Data{Cells: truth{pole: 0.45, core: 1.1, lift: -0.5, noise: 0.05}.cells(rand.New(rand.NewPCG(1, 1)), 4)})
	if err != nil {
		b.Fatal(err)
	}
	s, heights := setup()
	var level []float64
	for b.Loop() {
		level = m.Level(level, s, heights)
	}
}
