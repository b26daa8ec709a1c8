package batch

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"
	"unsafe"

	"evenpole/capture/record"
)

// Reading with little kept of each row is reading with all of it at hand: takes in the
// same order, taken back or not, by the same magnets and placings.
func TestReadIsReadingWithAllRowsAtHand(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 6))
	start := time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)
	for range 20 {
		var rows []record.FieldReading
		for i := range 400 {
			f := record.FieldReading{Jig: "j", Boot: "00000001", Seq: uint32(rng.IntN(350)), HasSeq: rng.IntN(10) > 0, Line: i + 2,
				Time: start.Add(time.Duration(i) * time.Second), Session: fmt.Sprintf("s%d", rng.IntN(3)),
				Batch: []string{"", "a", "b"}[rng.IntN(3)], Magnet: []string{"", "m1", "m2", "s1 position 2"}[rng.IntN(4)], Position: rng.IntN(3),
				Field: rng.NormFloat64(), ProbeGap: []float64{0.5, 1, math.NaN()}[rng.IntN(3)]}
			switch rng.IntN(12) {
			case 0:
				f.Status = record.Retracted
			case 1:
				f.Status = record.Clipped
			case 2:
				f.Pickup, f.String = "P", 1
			case 3:
				f.Field = math.NaN()
			}
			rows = append(rows, f)
		}
		each := func(yield func(record.FieldReading, error) bool) {
			for _, f := range rows {
				if !yield(f, nil) {
					return
				}
			}
		}
		got, err := Read(each)
		if err != nil {
			t.Fatal(err)
		}
		all, err := record.Sift(each, nil)
		if err != nil {
			t.Fatal(err)
		}
		want := &Record{batches: map[string]*lot{}}
		for i := range all {
			f := &all[i].Row
			reason := refuse(f, all[i].Why)
			if all[i].Why == record.TakenBack {
				reason = string(record.TakenBack)
			}
			if reason != "" {
				want.leave(reason, f.Line)
				continue
			}
			place, p := placeOf(f), (*placing)(nil)
			want.add(&place, &p, &row{field: f.Field, time: f.Time})
		}
		if a, b := described(got), described(want); a != b || len(got.LeftOut) < 4 || !reflect.DeepEqual(got.LeftOut, want.LeftOut) {
			t.Fatalf("got %s\n%v\nwant %s\n%v", a, got.LeftOut, b, want.LeftOut)
		}
	}
}

func described(r *Record) string {
	text := fmt.Sprint(r.names)
	for _, name := range r.names {
		l := r.batches[name]
		text += fmt.Sprintf("\n%s from %v to %v", name, l.first, l.last)
		for _, m := range l.magnets {
			text += fmt.Sprintf("\n  %s at %d", m.name, m.position)
			for _, p := range m.placings {
				text += fmt.Sprintf("; %s %d %v: %v", p.session, p.position, p.gap, p.takes)
			}
		}
	}
	return text
}

// A million rows are read in some 60 MB.
func TestLittleIsKeptOfARow(t *testing.T) {
	if n := unsafe.Sizeof(row{}); n > 64 {
		t.Errorf("%d bytes", n)
	}
}
