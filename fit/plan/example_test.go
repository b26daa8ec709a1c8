package plan_test

import (
	"context"
	"fmt"
	"math"

	"evenpole/fit"
	"evenpole/fit/plan"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// model stands for a fitted one: 2 dB/mm for every string, the second string
// 1 dB louder than the others, and 0.3 dB of doubt about each.
type model struct{}

func (model) Level(dst []float64, s *fit.Setup, heights []float64) []float64 {
	if dst == nil {
		dst = make([]float64, len(heights))
	}
	for i, h := range heights {
		dst[i] = (40 + 2*h) * math.Ln10 / 20
	}
	dst[1] += 1 * math.Ln10 / 20
	return dst
}

func (model) Uncertainty(s *fit.Setup, heights []float64) *mat.SymDense {
	c := mat.NewSymDense(len(heights), nil)
	for i := range heights {
		c.SetSym(i, i, math.Pow(0.3*math.Ln10/20, 2))
	}
	return c
}

func (model) Warnings(s *fit.Setup, heights []float64) []string { return nil }
func (model) Source() string                                    { return "handbook prior" }

func ExampleMake() {
	p, err := plan.Make(context.Background(), &profiles.Order{
		File: "A-017.toml", StringSpread: 20.8, Poles: profiles.Rod,
		PoleHeightMax: 2, PoleHeightStep: 0.05, MinGap: 1.2,
		StringHeightFirst: 3, StringHeightLast: 3.2,
		Tolerance: 0.5, Strings: make([]profiles.String, 3),
	}, model{}, plan.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s: poles at %.2f mm meet with a chance of %.0f %%, flat tops of %.0f %%\n",
		p.Advice, p.Heights, 100*p.Meets, 100*p.Flat.Meets)
	// Output: stagger: poles at [0.50 0.00 0.50] mm meet with a chance of 87 %, flat tops of 21 %
}
