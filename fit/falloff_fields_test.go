package fit

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/curve/curvetest"
)

// TestMeasuredMagnetIsNoSurprise: where levels follow the magnets' fields, the
// exponent is found, poles scatter less, and a named magnet is predicted better
// than one that is not.
func TestMeasuredMagnetIsNoSurprise(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	const b, sd = 0.8, 0.06
	_, cells := curvetest.Shop(rng, 8)
	devs := map[string]float64{}
	for i := range cells {
		at := fmt.Sprint(cells[i].Pickup, cells[i].String)
		if _, ok := devs[at]; !ok {
			devs[at] = sd * rng.NormFloat64()
		}
		cells[i].Mean += b * devs[at]
	}
	blind, err := fitFalloff(context.Background(), &cell.Data{Cells: cells}, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := range cells {
		c := &cells[i]
		c.FieldKnown = c.Pickup != "P7" // one pickup was not probed
		if c.FieldKnown {
			c.Field = devs[fmt.Sprint(c.Pickup, c.String)]
		}
	}
	f, err := fitFalloff(context.Background(), &cell.Data{Cells: cells, FieldSD: sd, Magnets: map[string]float64{"m": 0.1}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if se := math.Sqrt(f.Cov[curve.FieldExponent][curve.FieldExponent]); math.Abs(f.Theta[curve.FieldExponent]-b) > 2.5*se || se > 0.2 {
		t.Errorf("field exponent %.3f +- %.3f, want %.1f", f.Theta[curve.FieldExponent], se, b)
	}
	if !(f.SDs[1+curve.PoleEffect] < 0.9*blind.SDs[1+curve.PoleEffect]) {
		t.Errorf("poles scatter by %.4f, without fields by %.4f", f.SDs[1+curve.PoleEffect], blind.SDs[1+curve.PoleEffect])
	}
	s := &Setup{Strings: curvetest.Steels[:2], StringHeights: []float64{3, 3}, Magnets: []string{"m", "another"}}
	heights := []float64{1, 1}
	named, cov := f.Level(nil, s, heights), f.Uncertainty(s, heights)
	s.Magnets = nil
	if got := named[0] - f.Level(nil, s, heights)[0]; math.Abs(got-0.1*f.Theta[curve.FieldExponent]) > 1e-12 {
		t.Errorf("a magnet of +0.1: level %+.4f", got)
	}
	if !(cov.At(0, 0) < f.Uncertainty(s, heights).At(0, 0)) {
		t.Error("a measured magnet makes a prediction no surer")
	}
}

// TestLevelOfABatch: what pickups told of a batch is in the levels of the next one,
// and a batch without pickups is as much louder as its loose magnets are stronger.
// No balance changes.
func TestLevelOfABatch(t *testing.T) {
	const louder = 0.4
	_, cells := curvetest.Shop(rand.New(rand.NewPCG(11, 12)), 12)
	for i := range cells {
		c := &cells[i]
		var n int
		fmt.Sscanf(c.Pickup, "P%d", &n)
		batch := "weak"
		if n%2 == 1 {
			batch = "strong"
			c.Mean += louder
		}
		c.Remount(func(m *cell.Mounting) { m.Batch = batch })
	}
	f, err := fitFalloff(context.Background(), &cell.Data{Cells: cells, Batches: map[string]float64{"weak": math.Log(230), "strong": math.Log(300), "new": math.Log(360)}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	s := &Setup{Strings: curvetest.Steels[:2], StringHeights: []float64{3, 3}}
	of := func(batch string) []float64 {
		s.Batch = batch
		return f.Level(nil, s, []float64{1, 0.5})
	}
	weak, strong, fresh, unknown := of("weak"), of("strong"), of("new"), of("not heard of")
	if got := strong[0] - weak[0]; !(got > louder/2 && got < 1.3*louder) {
		t.Errorf("strong over weak: %.3f, want some %g", got, louder)
	}
	unseen := func(batch string) []cell.Cell {
		c := cells[0]
		c.Remount(func(m *cell.Mounting) { m.Batch = batch })
		return []cell.Cell{c}
	}
	for batch, level := range map[string]float64{"weak": weak[0], "strong": strong[0], "new": fresh[0]} {
		got := f.Expect(unseen(batch))[0] - f.Expect(unseen("not heard of"))[0]
		if want := level - unknown[0]; math.Abs(got-want) > 1e-12 {
			t.Errorf("a cell of batch %s: expected %+.4f beside one of no known batch, want %+.4f", batch, got, want)
		}
	}
	middle := (strong[0] + weak[0]) / 2
	want := middle + f.Theta[curve.FieldExponent]*(math.Log(360)-(math.Log(230)+math.Log(300))/2)
	if math.Abs(fresh[0]-want) > 1e-12 {
		t.Errorf("new batch: %.4f, want %.4f", fresh[0], want)
	}
	for _, l := range [][]float64{strong, weak, fresh} {
		if math.Abs((l[0]-l[1])-(unknown[0]-unknown[1])) > 1e-12 {
			t.Errorf("a batch changes the balance: %v, unknown %v", l, unknown)
		}
	}
}
