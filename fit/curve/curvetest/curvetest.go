// Package curvetest gives tests of models the cells of shops whose truth is known.
package curvetest

import (
	"fmt"
	"math/rand/v2"

	"evenpole/capture/record"
	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// Steels are the strings of a six-string that tests use.
var Steels = []profiles.String{
	{Note: "E4", Gauge: 0.254, Core: 0.254, Wrap: profiles.Plain},
	{Note: "B3", Gauge: 0.330, Core: 0.330, Wrap: profiles.Plain},
	{Note: "G3", Gauge: 0.508, Core: 0.267, Wrap: profiles.Nickel},
	{Note: "D3", Gauge: 0.660, Core: 0.330, Wrap: profiles.Stainless},
	{Note: "A2", Gauge: 0.914, Core: 0.368, Wrap: profiles.Nickel},
	{Note: "E2", Gauge: 1.168, Core: 0.419, Wrap: profiles.Nickel},
}

// Shop makes cells of pickups whose truth is the model's own equation
// with scatter of poles, strings and mountings.
func Shop(rng *rand.Rand, pickups int) ([]float64, []cell.Cell) {
	c := &curve.Curve{Wraps: []profiles.Wrap{profiles.Nickel, profiles.Stainless}}
	th := make([]float64, c.Size())
	for j, p := range curve.FixedPriors {
		th[j] = p.Mean + 0.5*p.SD*rng.NormFloat64()
	}
	for i, w := range c.Wraps {
		th[curve.FixedParameters+i] = curve.WrapPrior(w).Mean + 0.3*rng.NormFloat64()
	}
	th[curve.Level] = 2.7
	var cells []cell.Cell
	strings := [2][6]float64{}
	for k := range strings {
		for i := range strings[k] {
			strings[k][i] = 0.03 * rng.NormFloat64()
		}
	}
	for p := range pickups {
		coil := 0.12 * rng.NormFloat64()
		var height, pole [6]float64
		for i := range height {
			height[i], pole[i] = 2.4*rng.Float64(), 0.05*rng.NormFloat64()
		}
		for session := range 3 {
			lift := 0.05 * rng.NormFloat64()
			for i, s := range Steels {
				thicker := 1.0
				if session == 1 {
					thicker = 1.2
				}
				hz, _ := profiles.Pitch(s.Note)
				x := cell.Cell{
					Mounting: &cell.Mounting{Pickup: fmt.Sprint("P", p), Session: fmt.Sprint("s", session), Set: fmt.Sprint("set", session%2), Mode: record.Pluck, Excite: profiles.Travel, Batch: "b"},
					String:   i + 1, Core: s.Core * thicker, Gauge: s.Gauge * thicker, Wrap: s.Wrap, PoleHeight: height[i],
					StringHeight: 3.6 + 0.4*float64(session), Takes: 8, SD: 0.025, Freq: hz,
				}
				at := (&curve.Curve{Excite: profiles.Travel, Pitch: true}).CellSite(&x, 6)
				x.Mean = c.Predict(th, at, lift) + coil + pole[i] + strings[session%2][i] + 0.02*rng.NormFloat64()
				cells = append(cells, x)
			}
		}
	}
	return th, cells
}

// BalanceVariance is the variance of one string less the mean of all.
func BalanceVariance(cov *mat.SymDense, i int) float64 {
	n, _ := cov.Dims()
	v := cov.At(i, i)
	for j := range n {
		v -= 2 * cov.At(i, j) / float64(n)
		for k := range n {
			v += cov.At(j, k) / float64(n*n)
		}
	}
	return v
}
