package fit

import (
	"errors"
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"testing"

	"evenpole/capture"
	"evenpole/fit/field"
)

func fieldRows(rows []capture.FieldReading) iter.Seq2[capture.FieldReading, error] {
	return func(yield func(capture.FieldReading, error) bool) {
		for _, r := range rows {
			if !yield(r, nil) {
				return
			}
		}
	}
}

// TestFieldsOfLooseMagnets: deviations are from the batch, of either sign and
// whatever the gap, and a mount says which pole a magnet is.
func TestFieldsOfLooseMagnets(t *testing.T) {
	loose := func(batch, name string, mT, gap float64) capture.FieldReading {
		return capture.FieldReading{Batch: batch, Magnet: name, Field: mT, ProbeGap: gap}
	}
	d := &Data{Cells: []Cell{{Pickup: "P", String: 1}, {Pickup: "P", String: 2}}}
	err := d.AddFields(fieldRows([]capture.FieldReading{
		loose("a", "a/1", 100, 0.5), loose("a", "a/1", 104, 0.5), loose("a", "a/2", -98, 0.5), loose("a", "a/3", 100, 0.5),
		loose("b", "b/1", 50, 0.5), loose("b", "b/2", 60, 0.5),
		loose("b", "b/3", 20, 2), // alone at its gap: tells nothing
		{Batch: "b", Magnet: "b/1", Field: 500, ProbeGap: 0.5, Status: capture.Retracted},
		{Batch: "b", Field: 500, ProbeGap: 0.5},
	}), map[string][]string{"P": {"a/1", "b/9"}})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := d.Batches["b"], math.Log(math.Sqrt(50*60)); len(d.Batches) != 2 || math.Abs(got-want) > 1e-12 {
		t.Errorf("batches %v, want b at %g, from the gap at which both were probed", d.Batches, want)
	}
	if len(d.Magnets) != 5 {
		t.Errorf("magnets %v", d.Magnets)
	}
	if got, want := d.Magnets["a/1"]-d.Magnets["a/2"], math.Log(math.Sqrt(100*104)/98); math.Abs(got-want) > 1e-12 {
		t.Errorf("a/1 over a/2: %g, want %g", got, want)
	}
	if got, want := d.Magnets["b/2"]-d.Magnets["b/1"], math.Log(1.2); math.Abs(got-want) > 1e-12 {
		t.Errorf("b/2 over b/1: %g, want %g", got, want)
	}
	if c := d.Cells; !c[0].FieldKnown || c[0].Field != d.Magnets["a/1"] || c[1].FieldKnown {
		t.Errorf("cells %+v", c)
	}
}

// TestFieldsInAPickup: rods of one strength at very different heights come out
// as equal, though their neighbours change what the probe sees.
func TestFieldsInAPickup(t *testing.T) {
	heights := []float64{0, 2.5, 0.3, 3, 0, 1}
	var row field.Row
	d := &Data{}
	for i, h := range heights {
		row = append(row, field.Pole{Rod: usualRod, X: refSpacing * float64(i), Top: h})
		d.Cells = append(d.Cells, Cell{Pickup: "P", String: i + 1, PoleHeight: h})
	}
	var rows []capture.FieldReading
	raw := []float64{}
	for i, h := range heights {
		_, _, b := row.At(refSpacing*float64(i), 0, h+0.5)
		raw = append(raw, math.Log(b))
		rows = append(rows, capture.FieldReading{Batch: "a", Magnet: fmt.Sprint("a/", i), Pickup: "P", String: i + 1, Field: 1000 * b, ProbeGap: 0.5})
	}
	if err := d.AddFields(fieldRows(rows), nil); err != nil {
		t.Fatal(err)
	}
	if spread := math.Abs(raw[1] - raw[0]); spread < 0.005 {
		t.Fatalf("neighbours change the field by %.4f only: nothing is tested", spread)
	}
	for i, c := range d.Cells {
		if !c.FieldKnown || math.Abs(c.Field) > 1e-9 || d.Magnets[fmt.Sprint("a/", i)] != c.Field {
			t.Errorf("pole %d: %+v", i+1, c)
		}
	}
}

func TestFieldsErrorComesBack(t *testing.T) {
	bad := errors.New("bad row")
	err := (&Data{}).AddFields(func(yield func(capture.FieldReading, error) bool) { yield(capture.FieldReading{}, bad) }, nil)
	if err != bad {
		t.Errorf("got %v", err)
	}
}

// TestMeasuredMagnetIsNoSurprise: where levels follow the magnets' fields, the
// exponent is found, poles scatter less, and a named magnet is predicted better
// than one that is not.
func TestMeasuredMagnetIsNoSurprise(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	const b, sd = 0.8, 0.06
	_, cells := falloffShop(rng, 8)
	devs := map[place]float64{}
	for i := range cells {
		at := place{cells[i].Pickup, cells[i].String}
		if _, ok := devs[at]; !ok {
			devs[at] = sd * rng.NormFloat64()
		}
		cells[i].Mean += b * devs[at]
	}
	blind, err := fitFalloff(&Data{Cells: cells}, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := range cells {
		c := &cells[i]
		c.FieldKnown = c.Pickup != "P7" // one pickup was not probed
		if c.FieldKnown {
			c.Field = devs[place{c.Pickup, c.String}]
		}
	}
	f, err := fitFalloff(&Data{Cells: cells, FieldSD: sd, Magnets: map[string]float64{"m": 0.1}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if se := math.Sqrt(f.Cov[pField][pField]); math.Abs(f.Theta[pField]-b) > 2.5*se || se > 0.2 {
		t.Errorf("field exponent %.3f +- %.3f, want %.1f", f.Theta[pField], se, b)
	}
	if !(f.SDs[1+ePole] < 0.9*blind.SDs[1+ePole]) {
		t.Errorf("poles scatter by %.4f, without fields by %.4f", f.SDs[1+ePole], blind.SDs[1+ePole])
	}
	s := &Setup{Strings: steels[:2], StringHeights: []float64{3, 3}, Magnets: []string{"m", "another"}}
	heights := []float64{1, 1}
	named, cov := f.Level(nil, s, heights), f.Uncertainty(s, heights)
	s.Magnets = nil
	if got := named[0] - f.Level(nil, s, heights)[0]; math.Abs(got-0.1*f.Theta[pField]) > 1e-12 {
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
	_, cells := falloffShop(rand.New(rand.NewPCG(11, 12)), 12)
	for i := range cells {
		c := &cells[i]
		var n int
		fmt.Sscanf(c.Pickup, "P%d", &n)
		if c.Batch = "weak"; n%2 == 1 {
			c.Batch = "strong"
			c.Mean += louder
		}
	}
	f, err := fitFalloff(&Data{Cells: cells, Batches: map[string]float64{"weak": math.Log(230), "strong": math.Log(300), "new": math.Log(360)}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	s := &Setup{Strings: steels[:2], StringHeights: []float64{3, 3}}
	of := func(batch string) []float64 {
		s.Batch = batch
		return f.Level(nil, s, []float64{1, 0.5})
	}
	weak, strong, fresh, unknown := of("weak"), of("strong"), of("new"), of("not heard of")
	if got := strong[0] - weak[0]; !(got > louder/2 && got < 1.3*louder) {
		t.Errorf("strong over weak: %.3f, want some %g", got, louder)
	}
	middle := (strong[0] + weak[0]) / 2
	want := middle + f.Theta[pField]*(math.Log(360)-(math.Log(230)+math.Log(300))/2)
	if math.Abs(fresh[0]-want) > 1e-12 {
		t.Errorf("new batch: %.4f, want %.4f", fresh[0], want)
	}
	for _, l := range [][]float64{strong, weak, fresh} {
		if math.Abs((l[0]-l[1])-(unknown[0]-unknown[1])) > 1e-12 {
			t.Errorf("a batch changes the balance: %v, unknown %v", l, unknown)
		}
	}
}
