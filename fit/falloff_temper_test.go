package fit

import (
	"context"
	"fmt"
	"math"
	"slices"
	"testing"

	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
	"evenpole/fit/curve"
)

// copies are the sample shop's cells so many times, each time of other pickups.
func copies(t *testing.T, times int) *cell.Data {
	t.Helper()
	d := *celltest.Sample(t)
	own := d.Cells
	d.Cells = nil
	for n := range times {
		rename := cell.Remounting(func(m, _ *cell.Mounting) { m.Pickup = fmt.Sprintf("%03d/%s", n, m.Pickup) })
		for _, c := range own {
			rename(&c, &c)
			d.Cells = append(d.Cells, c)
		}
	}
	return &d
}

// TestMoreOfTheSameTellsNoMore: once there are enough cells, as many again of other pickups
// under the same strings leave estimates where they are, and make nothing of what pickups
// share surer; a pickup's own scatter goes on being told.
func TestMoreOfTheSameTellsNoMore(t *testing.T) {
	per := len(celltest.Sample(t).Cells)
	var fits []*Falloff
	for _, cells := range []int{enoughCells / 2, enoughCells, 3 * enoughCells} {
		f, err := fitFalloff(context.Background(), copies(t, cells/per), nil)
		if err != nil {
			t.Fatal(err)
		}
		fits = append(fits, f)
	}
	half, enough, more := fits[0], fits[1], fits[2]
	for j, name := range enough.Names() {
		se := func(f *Falloff) float64 { return math.Sqrt(f.Cov[j][j]) }
		if j == curve.Level {
			continue
		}
		if r := se(more) / se(enough); r < 0.9 || r > 1.1 {
			t.Errorf("%s: standard error %.4f of enough, %.4f of three times as many", name, se(enough), se(more))
		}
		if off := math.Abs(more.Theta[j]-enough.Theta[j]) / se(enough); off > 1.5 {
			t.Errorf("%s: %.4f of enough, %.4f of three times as many", name, enough.Theta[j], more.Theta[j])
		}
	}
	if se := func(f *Falloff) float64 { return math.Sqrt(f.Cov[curve.Slope][curve.Slope]) }; se(half) < 1.1*se(enough) {
		t.Errorf("slope: standard error %.4f of half of enough, %.4f of enough", se(half), se(enough))
	}
	for _, k := range slices.Concat(tempered, []int{curve.PoleEffect}) {
		if a, b := enough.SDs[1+k], more.SDs[1+k]; math.Abs(math.Log(b/a)) > 0.35 {
			t.Errorf("%s: differ by %.4f of enough, %.4f of three times as many", curve.Effects[k].Name, a, b)
		}
	}
}
