package explain

import (
	"math"
	"slices"

	"evenpole/fit"
	"evenpole/fit/cell"

	"gonum.org/v1/gonum/mat"
)

// unseenHalf is the half-width of the 95 % interval of each balance, ln v, of a pickup
// that the model has not seen, for its own cells among all cells. It holds the curve's
// uncertainty, the scatter of the pickup's poles, strings and mountings, and the noise
// of its takes. It is NaN where the model has no solution.
func unseenHalf(f *fit.Falloff, all, cells []cell.Cell) []float64 {
	pickup := cells[0].Pickup
	out := slices.Repeat([]float64{math.NaN()}, len(cells))
	m, err := f.EffectsOf(all, func(c *cell.Cell) bool { return c.Pickup == pickup })
	if err != nil {
		return out
	}
	p, err := m.Posterior()
	if err != nil {
		return out
	}
	var at []int
	for i, c := range m.Cells {
		if c.Pickup == pickup {
			at = append(at, i)
		}
	}
	for i, v := range centredVariance(p.Unseen(at)) {
		out[i] = normal95 * math.Sqrt(v)
	}
	return out
}

// centredVariance is the variance of each of some figures less their mean.
func centredVariance(cov *mat.SymDense) []float64 {
	n := cov.SymmetricDim()
	all := mat.Sum(cov) / float64(n*n)
	out := make([]float64, n)
	for i := range out {
		row := 0.0
		for j := range n {
			row += cov.At(i, j) / float64(n)
		}
		out[i] = max(0, cov.At(i, i)-2*row+all)
	}
	return out
}
