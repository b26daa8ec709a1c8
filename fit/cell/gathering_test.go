package cell

import (
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"evenpole/capture/record"
	"evenpole/capture/record/pack"
	"evenpole/capture/record/recordtest"
)

// packed is a gathering of rows as bytes, with cells of so many takes kept open.
func packed(t *testing.T, rows []record.Reading, stillOpen int32) []byte {
	t.Helper()
	x, err := Begin(recordtest.Rows(rows))
	if err != nil {
		t.Fatal(err)
	}
	w := pack.Write()
	x.pack(w, stillOpen)
	return w.Bytes()
}

// However a record has grown, the cells are those of reading it whole; where a step does
// not say enough, it says so.
func TestGatherInSteps(t *testing.T) {
	went, gaveUp := 0, 0
	for seed := range uint64(600) {
		r := rand.New(rand.NewPCG(seed, 6))
		rows := randomRows(r, 50+r.IntN(400))
		if r.IntN(2) == 0 { // a record in which nothing is said twice
			for i := range rows {
				rows[i].Seq = uint32(i)
				if rows[i].Status == record.Retracted {
					rows[i].Status = record.Clipped
				}
			}
		}
		stillOpen := []int32{0, 10, 100, 1000}[r.IntN(4)]
		n := r.IntN(len(rows))
		bytes := packed(t, rows[:n], stillOpen)
		for n < len(rows) {
			c := pack.Read(bytes)
			x := Resume(c)
			if c.Damaged() || len(c.Bytes()) > 0 {
				t.Fatalf("seed %d: what was packed is called damaged", seed)
			}
			next := min(n+r.IntN(100), len(rows))
			ok, err := x.Add(recordtest.Rows(rows[n:next]))
			if err != nil {
				t.Fatal(err)
			}
			n = next
			if !ok {
				gaveUp++
				bytes = packed(t, rows[:n], stillOpen)
				continue
			}
			went++
			w := pack.Write()
			x.pack(w, stillOpen)
			bytes = w.Bytes()
			if got, want := x.Data(), plainly(everything, rows[:n]); !reflect.DeepEqual(got, want) {
				t.Fatalf("seed %d, %d rows: %s", seed, n, difference(got, want))
			}
		}
	}
	if went < 500 || gaveUp < 30 {
		t.Errorf("%d steps went on and %d gave up: the test does not see what it is for", went, gaveUp)
	}
}

// A gathering is as good after it was packed.
func TestPackingKeepsTheGathering(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 6))
	for range 100 {
		rows := randomRows(r, 300)
		x, err := Begin(recordtest.Rows(rows))
		if err != nil {
			t.Fatal(err)
		}
		x.pack(pack.Write(), 0)
		if got, want := x.Data(), plainly(everything, rows); !reflect.DeepEqual(got, want) {
			t.Fatal(difference(got, want))
		}
	}
}

// Bytes of any kind are refused, or are cells with which everything can go on: what is
// damaged here has no digest that would tell.
func TestHostilePacking(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 6))
	refused, taken := 0, 0
	for range 40 {
		rows := randomRows(r, 100)
		whole := packed(t, rows, []int32{0, 50}[r.IntN(2)])
		for range 300 {
			bytes := slices.Clone(whole)
			for range 1 + r.IntN(3) {
				bytes[r.IntN(len(bytes))] = byte(r.IntN(256))
			}
			c := pack.Read(bytes[:len(bytes)-r.IntN(2)*r.IntN(len(bytes))])
			x := Resume(c)
			if c.Damaged() {
				refused++
				continue
			}
			taken++
			if ok, err := x.Add(recordtest.Rows(randomRows(r, 30))); !ok || err != nil {
				continue
			}
			d := x.Data()
			d.Fingerprint()
			for i := range d.Cells {
				if !d.Cells[i].Possible() {
					t.Fatalf("a cell that cannot be: %+v", d.Cells[i])
				}
			}
		}
	}
	if refused < 1000 || taken < 100 {
		t.Errorf("%d refused, %d taken: the test does not see what it is for", refused, taken)
	}
}
