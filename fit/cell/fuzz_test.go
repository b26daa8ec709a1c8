package cell

import (
	"math/rand/v2"
	"testing"

	"evenpole/capture/record/pack"
	"evenpole/capture/record/recordtest"
)

// Whatever stands where cells were packed is refused, or is cells that can be and that
// can go on.
func FuzzResume(f *testing.F) {
	r := rand.New(rand.NewPCG(2, 6))
	for _, stillOpen := range []int32{0, 10, 100} {
		x, err := Begin(recordtest.Rows(randomRows(r, 12)))
		if err != nil {
			f.Fatal(err)
		}
		w := pack.Write()
		x.pack(w, stillOpen)
		f.Add(w.Bytes(), uint64(stillOpen))
	}
	f.Fuzz(func(t *testing.T, bytes []byte, seed uint64) {
		c := pack.Read(bytes)
		x := Resume(c)
		if c.Damaged() {
			return
		}
		w := pack.Write()
		x.g.pack(w)
		if again := pack.Read(w.Bytes()); Resume(again) == nil || again.Damaged() || len(again.Bytes()) > 0 {
			t.Fatal("what was taken is refused when it is packed once more")
		}
		if ok, err := x.Add(recordtest.Rows(randomRows(rand.New(rand.NewPCG(seed, 1)), 20))); !ok || err != nil {
			return
		}
		d := x.Data()
		d.Fingerprint()
		for i := range d.Cells {
			if !d.Cells[i].Possible() {
				t.Fatalf("a cell that cannot be: %+v", d.Cells[i])
			}
		}
	})
}
