package fit_test

import (
	"context"
	"fmt"
	"iter"
	"math"
	"math/rand/v2"

	"evenpole/capture/record"
	"evenpole/fit"
	"evenpole/fit/cell"
)

// bench stands for a readings file: four pickups, three plain strings each, five
// takes a string. A millimetre of pole is worth 4 dB here, and the level goes
// with the core's cross-section.
func bench(yield func(record.Reading, error) bool) {
	rng := rand.New(rand.NewPCG(1, 1))
	for pickup := range 4 {
		for i, core := range []float64{0.254, 0.330, 0.432} {
			r := record.Reading{
				Pickup: fmt.Sprint("T-", pickup+1), String: i + 1, Core: core, Gauge: core,
				PoleHeight: 0.2 * float64(1+(5*pickup+3*i)%7), StringHeight: 3, Quiet: 0.4,
			}
			db := 40 + 4*r.PoleHeight + 20*math.Log10(core*core)
			for range 5 {
				r.RMS = math.Pow(10, (db+0.2*rng.NormFloat64())/20)
				if !yield(r, nil) {
					return
				}
			}
		}
	}
}

func ExampleBest() {
	data, err := cell.Gather(iter.Seq2[record.Reading, error](bench))
	if err != nil {
		fmt.Println(err)
		return
	}
	result, err := fit.Best(context.Background(), data, nil, "loglinear-height")
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range result.Parameters {
		fmt.Printf("%-12s %6.2f ± %.2f %s\n", p.Name, p.Value, p.SE, p.Unit)
	}
	fmt.Printf("balance of a pickup left out is missed by %.2f dB\n", *result.CVBalance)
	for _, w := range result.Warnings {
		fmt.Println(w)
	}
	// Output:
	// level         23.90 ± 0.01 dB re 1 mV
	// pole_height    4.07 ± 0.07 dB/mm
	// core          17.28 ± 0.12 dB per ln mm
	// balance of a pickup left out is missed by 0.09 dB
	// string heights did not differ within a pickup, so that the effect of the gap cannot be told from that of the pole height: capture a pickup again with its strings a millimetre higher
}
