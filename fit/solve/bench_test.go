package solve

import (
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// A bench's record: 40 pickups of 41 mountings each, six strings of one of three sets under
// each.
func BenchmarkMixed(b *testing.B) {
	const pickups, mountings, strings, sets, parameters = 40, 41, 6, 3, 15
	const n = pickups * mountings * strings
	rng := rand.New(rand.NewPCG(2, 7))
	m := &Mixed{Y: make([]float64, n), X: mat.NewDense(n, parameters, nil), Weight: make([]float64, n), Known: make([]float64, n), Group: make(Levels, n), Sigma: Spread{0.03, 4}}
	z := make([][]float64, n)
	for _, t := range []Term{{Name: "pickup", Local: true}, {Name: "batch"}, {Name: "pole", Local: true}, {Name: "string"}, {Name: "slot"}, {Name: "mounting", Local: true, Z: z}} {
		t.Level, t.Spread = make(Levels, n), Spread{0.05, 4}
		m.Terms = append(m.Terms, t)
	}
	for j := range parameters {
		m.Prior = append(m.Prior, Normal{0, 1 + float64(j%3)})
	}
	for i := range n {
		pickup, mounting, string := i/(mountings*strings), i/strings, i%strings
		set := mounting % sets
		for k, l := range []int{pickup, pickup % 8, pickup*strings + string, set*strings + string, string, mounting} {
			m.Terms[k].Level[i] = int32(l)
		}
		m.Group[i] = int32(pickup)
		m.Y[i], m.Weight[i], m.Known[i], z[i] = rng.NormFloat64(), 1-0.2*rng.Float64(), 1e-4*rng.Float64(), []float64{rng.NormFloat64()}
		for j := range parameters {
			m.X.Set(i, j, rng.NormFloat64())
		}
	}
	sds := []float64{0.15, 0.1, 0.05, 0.02, 0.03, 0.05}
	b.Run("at", func(b *testing.B) {
		for b.Loop() {
			if _, err := m.At(0.03, sds); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("step", func(b *testing.B) {
		for b.Loop() {
			if _, _, _, err := m.Step(0.03, sds); err != nil {
				b.Fatal(err)
			}
		}
	})
}
