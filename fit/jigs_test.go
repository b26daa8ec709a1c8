package fit

import (
	"cmp"
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
	"evenpole/fit/curve"
)

// onTwoJigs is the sample's record on jig a, and again on jig b, which reads higher by some
// ln v.
func onTwoJigs(t *testing.T, higher float64) *cell.Data {
	rng := rand.New(rand.NewPCG(1, 18))
	d := *celltest.Sample(t)
	var cells []cell.Cell
	for _, c := range d.Cells {
		c.Remount(func(m *cell.Mounting) { m.Jig = "a" })
		cells = append(cells, c)
		c.Remount(func(m *cell.Mounting) { m.Jig, m.Session = "b", m.Session+" again" })
		c.Mean += higher + 0.01*rng.NormFloat64()
		cells = append(cells, c)
	}
	slices.SortStableFunc(cells, func(a, b cell.Cell) int {
		return cmp.Or(strings.Compare(a.Pickup, b.Pickup), strings.Compare(a.Session, b.Session), cmp.Compare(a.String, b.String))
	})
	d.Cells = cells
	return &d
}

// TestJigsHaveAnEffect: by how much a jig reads higher is found, and said of what it would
// read of another pickup; plans leave it out.
func TestJigsHaveAnEffect(t *testing.T) {
	const higher = 0.07 // 0.6 dB
	d := onTwoJigs(t, higher)
	f, err := fitFalloff(context.Background(), d, nil)
	if err != nil {
		t.Fatal(err)
	}
	if got := f.Offsets["jigb"] - f.Offsets["jiga"]; math.Abs(got-higher) > 0.01 {
		t.Errorf("jig b reads %.4f ln v higher, want %.4f", got, higher)
	}
	if f.LevelCounts[curve.JigEffect] != 2 || !slices.ContainsFunc(f.Parameters(), func(p Parameter) bool { return p.Name == "sd_jig" }) {
		t.Errorf("levels %v, parameters %v", f.LevelCounts, f.Parameters())
	}
	first := d.Cells[:1:1]
	on := func(jig string) float64 {
		c := first[0]
		c.Remount(func(m *cell.Mounting) { m.Jig = jig })
		return f.Expect([]cell.Cell{c})[0]
	}
	if got, want := on("b")-on("a"), f.Offsets["jigb"]-f.Offsets["jiga"]; math.Abs(got-want) > 1e-12 {
		t.Errorf("a pickup is expected %.4f higher on jig b, want %.4f", got, want)
	}
	if on("c") != on("a")-f.Offsets["jiga"] {
		t.Error("of a jig that nobody knows something is known")
	}
}

// TestOneJigHasNoEffect: it stands for nothing then, and models of before are read.
func TestOneJigHasNoEffect(t *testing.T) {
	d := *celltest.Sample(t)
	f, err := fitFalloff(context.Background(), &d, nil)
	if err != nil {
		t.Fatal(err)
	}
	for key := range f.Offsets {
		if strings.HasPrefix(key, "jig") {
			t.Errorf("an effect %q of the only jig", key)
		}
	}
	if slices.ContainsFunc(f.Parameters(), func(p Parameter) bool { return p.Name == "sd_jig" }) {
		t.Error("the scatter of one jig is told")
	}
	f.SDs, f.LevelCounts = f.SDs[:len(f.SDs)-1], f.LevelCounts[:len(f.LevelCounts)-1]
	text, err := json.Marshal(f)
	if err != nil {
		t.Fatal(err)
	}
	back, err := decodeFalloff(text)
	if err != nil || len(back.SDs) != 1+len(curve.Effects) || len(back.LevelCounts) != len(curve.Effects) {
		t.Errorf("a model of before jigs had an effect: %v", err)
	}
}
