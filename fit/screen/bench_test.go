package screen

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/profiles"
)

// madeShop is the cells of so many pickups, each mounted so often under one of three
// string sets at one of four heights, with the scatter that the model expects.
func madeShop(pickups, mountings int) *cell.Data {
	r := rand.New(rand.NewPCG(1, uint64(pickups)))
	of := curve.Curve{Excite: profiles.Travel, Wraps: []profiles.Wrap{profiles.Nickel}, Pitch: true}
	var theta []float64
	for _, p := range of.Priors() {
		theta = append(theta, p.Mean)
	}
	gauges := [6]float64{0.25, 0.33, 0.43, 0.66, 0.91, 1.17}
	pitches := [6]float64{330, 247, 196, 147, 110, 82}
	d := &cell.Data{}
	for p := range pickups {
		coil := 0.12 * r.NormFloat64()
		var poles, heights [6]float64
		for x := range poles {
			poles[x], heights[x] = 0.05*r.NormFloat64(), math.Round(20+180*r.Float64())/100
		}
		for k := range mountings {
			set := r.IntN(3)
			lift := 0.05 * r.NormFloat64()
			for x := range 6 {
				c := cell.Cell{
					Mounting: &cell.Mounting{Pickup: fmt.Sprintf("P%05d", p), Session: fmt.Sprintf("s%03d", k), Set: fmt.Sprint("set ", set), Excite: profiles.Travel, Batch: fmt.Sprint("M-", p%12)},
					String:   x + 1, Wrap: profiles.Plain, Gauge: gauges[x] * (1 + 0.1*float64(set)), PoleHeight: heights[x],
					StringHeight: 3.2 + 0.2*float64(r.IntN(4)), Takes: 8, SD: 0.03, Freq: pitches[x] * math.Exp(0.001*r.NormFloat64()),
					Rows: []cell.Span{{First: int32(10*len(d.Cells) + 2), Last: int32(10*len(d.Cells) + 9)}},
				}
				if c.Core = c.Gauge; x > 2 {
					c.Core, c.Wrap = 0.4*c.Gauge, profiles.Nickel
				}
				c.Mean = of.Predict(theta, of.CellSite(&c, 6), lift) + coil + poles[x] + 0.03*r.NormFloat64()
				d.Cells = append(d.Cells, c)
			}
		}
	}
	return d
}

// The time of screening a record against its cells; exponent is that of the growth since
// the size before.
func BenchmarkScreen(b *testing.B) {
	var cells, took float64
	for _, size := range [][2]int{{100, 2}, {200, 8}, {400, 41}} {
		d := madeShop(size[0], size[1])
		b.Run(fmt.Sprintf("%d cells of %d pickups", len(d.Cells), size[0]), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Screen(b.Context(), d); err != nil {
					b.Fatal(err)
				}
			}
			n, each := float64(len(d.Cells)), float64(b.Elapsed().Nanoseconds())/float64(b.N)
			b.ReportMetric(each/n, "ns/cell")
			if cells > 0 && cells != n {
				b.ReportMetric(math.Log(each/took)/math.Log(n/cells), "exponent")
			}
			cells, took = n, each
		})
	}
}
