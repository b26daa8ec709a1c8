package record

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// madeRows writes a file of rows of few readings, which stand twice, are taken back and
// filed anew in any order.
func madeRows(t *testing.T, r *rand.Rand, rows int) (path string) {
	t.Helper()
	var b bytes.Buffer
	b.WriteString("session,jig,boot,seq,string,core_mm,pole_height_mm,string_height_mm,rms_mv,status,note\n")
	for i := range rows {
		boot, seq := "0000000A", fmt.Sprint(1+r.IntN(rows/2))
		if r.IntN(10) == 0 {
			boot, seq = "", ""
		}
		status := []string{"ok", "", "clipped", "retracted", " retracted "}[r.IntN(5)]
		note := []string{"", "retracted", "\"two\nlines, \"\"retracted\"\"\""}[r.IntN(3)]
		fmt.Fprintf(&b, "s%d,j%d,%s,%s,1,0.25,1,3,%d,%s,%s\n", r.IntN(3), r.IntN(2), boot, seq, i+1, status, note)
	}
	path = filepath.Join(t.TempDir(), ReadingsFile)
	if err := os.WriteFile(path, b.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	return path
}

// One pass counts what is known only when all rows were met.
func TestCount(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	for range 100 {
		path := madeRows(t, r, 4+r.IntN(40))
		all, err := Sift(ReadFile(path, Readings), nil)
		if err != nil {
			t.Fatal(err)
		}
		var met, wantMet []int
		got, want := map[int]Reason{}, map[int]Reason{}
		taken := 0
		for _, x := range all {
			if x.Why != TakesBack && x.Why != Repeated {
				wantMet, want[x.Row.Line] = append(wantMet, x.Row.Line), x.Why
			}
			if x.Row.Status == Retracted {
				taken++
			}
		}
		back, err := Retractions(path)
		if err != nil || len(back) != taken {
			t.Fatalf("%d rows that take back, %v; want %d", len(back), err, taken)
		}
		c := Count(back, func(x *Reading) { met = append(met, x.Line) }, func(x *Reading, why Reason) { got[x.Line] = why })
		for x, err := range ReadFile(path, Readings) {
			if err != nil {
				t.Fatal(err)
			}
			c.Add(&x)
		}
		c.End()
		if !slices.Equal(met, wantMet) || fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("met %v, want %v; counted %v, want %v", met, wantMet, got, want)
		}
	}
	if back, err := FieldRetractions(filepath.Join(t.TempDir(), FieldsFile)); back != nil || err != nil {
		t.Errorf("of no file: %v, %v", back, err)
	}
}
