package cell

import (
	"errors"
	"fmt"
	"iter"
	"math"
	"testing"

	"evenpole/capture/record"
	"evenpole/fit/field"
	"evenpole/profiles"
)

func fieldRows(rows []record.FieldReading) iter.Seq2[record.FieldReading, error] {
	return func(yield func(record.FieldReading, error) bool) {
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
	loose := func(batch, name string, mT, gap float64) record.FieldReading {
		return record.FieldReading{Batch: batch, Magnet: name, Field: mT, ProbeGap: gap}
	}
	d := &Data{Cells: []Cell{{Mounting: &Mounting{Pickup: "P"}, String: 1}, {Mounting: &Mounting{Pickup: "P"}, String: 2}}}
	err := d.AddFields(fieldRows([]record.FieldReading{
		loose("a", "a/1", 100, 0.5), loose("a", "a/1", 104, 0.5), loose("a", "a/2", -98, 0.5), loose("a", "a/3", 100, 0.5),
		loose("b", "b/1", 50, 0.5), loose("b", "b/2", 60, 0.5),
		loose("b", "b/3", 20, 2), // alone at its gap: tells nothing
		{Batch: "b", Magnet: "b/1", Field: 500, ProbeGap: 0.5, Status: record.Retracted},
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

// TestFieldsThatCount: a field reading that was taken back or stands twice moves
// nothing, wherever the row stands that takes it back.
func TestFieldsThatCount(t *testing.T) {
	at := func(seq uint32, name string, mT float64) record.FieldReading {
		return record.FieldReading{Jig: "j", Boot: "0000000A", Seq: seq, HasSeq: true, Batch: "a", Magnet: name, Field: mT, ProbeGap: 0.5}
	}
	rows := []record.FieldReading{at(1, "a/1", 100), at(2, "a/2", 110), at(3, "a/3", 95), at(4, "a/1", 106)}
	var want, got Data
	if err := want.AddFields(fieldRows(rows), nil); err != nil {
		t.Fatal(err)
	}
	wrong, twice := at(5, "a/2", 400), rows[3]
	back := wrong
	back.Status = record.Retracted
	if err := got.AddFields(fieldRows(append([]record.FieldReading{wrong}, append(rows, twice, back)...)), nil); err != nil {
		t.Fatal(err)
	}
	for name, dev := range want.Magnets {
		if math.Abs(got.Magnets[name]-dev) > 1e-12 {
			t.Errorf("%s: %g, want %g", name, got.Magnets[name], dev)
		}
	}
	if len(got.Magnets) != 3 || got.FieldSD != want.FieldSD || got.Batches["a"] != want.Batches["a"] {
		t.Errorf("got %+v, want %+v", got, want)
	}
}

// TestFieldsInAPickup: rods of one strength at very different heights come out
// as equal, though their neighbours change what the probe sees.
func TestFieldsInAPickup(t *testing.T) {
	heights := []float64{0, 2.5, 0.3, 3, 0, 1}
	var row field.Row
	d := &Data{}
	for i, h := range heights {
		row = append(row, field.Pole{Rod: usualRod, X: profiles.UsualSpacing * float64(i), Top: h})
		d.Cells = append(d.Cells, Cell{Mounting: &Mounting{Pickup: "P"}, String: i + 1, PoleHeight: h})
	}
	var rows []record.FieldReading
	raw := []float64{}
	for i, h := range heights {
		_, _, b := row.At(profiles.UsualSpacing*float64(i), 0, h+0.5)
		raw = append(raw, math.Log(b))
		rows = append(rows, record.FieldReading{Batch: "a", Magnet: fmt.Sprint("a/", i), Pickup: "P", String: i + 1, Field: 1000 * b, ProbeGap: 0.5})
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
	err := (&Data{}).AddFields(func(yield func(record.FieldReading, error) bool) { yield(record.FieldReading{}, bad) }, nil)
	if err != bad {
		t.Errorf("got %v", err)
	}
}
