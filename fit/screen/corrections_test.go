package screen

import (
	"maps"
	"math"
	"slices"
	"testing"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"
)

// slippedShop is a large record with a few mistakes, and the pickups that they are about.
func slippedShop() (d *cell.Data, pickups []string) {
	d = madeShop(60, 30)
	mounting := func(pickup, k int) []cell.Cell { return d.Cells[(pickup*30+k)*6:][:6] }
	mounting(3, 2)[1].PoleHeight /= 10
	mounting(20, 5)[4].PoleHeight /= 10
	for i := range mounting(41, 7) {
		mounting(41, 7)[i].Remount(func(m *cell.Mounting) { m.Pickup = "P00007" })
	}
	return d, []string{"P00003", "P00007", "P00020", "P00041"}
}

// A large record's shared model is where all pickups lead to, though few are asked at first.
func TestFewPickupsLeadToTheModelOfAll(t *testing.T) {
	d, _ := slippedShop()
	few, all := levelsOf(newScreener(d)), levelsOf(newScreener(d))
	asked := few.fewPickups()
	if len(asked) != len(few.all)/5 {
		t.Fatalf("%d of %d pickups are asked at first", len(asked), len(few.all))
	}
	few.find(asked)
	all.find(all.all)
	if rms := apart(few.allRows(), all.allRows()); rms > mostMoved {
		t.Errorf("levels expected differ by %.4g standard deviations", rms)
	}
	if by := math.Abs(few.scale/all.scale - 1); by > 0.001 {
		t.Errorf("scale %.4g, want %.4g", few.scale, all.scale)
	}
}

// Where a record has more strings and batches than are told apart, a cell's class is its
// string's number, and mistakes are found all the same.
func TestManyLevelsAreScatter(t *testing.T) {
	d, _ := slippedShop()
	want := mustScreen(t, d)
	usual := mostLevels
	defer func() { mostLevels = usual }()
	mostLevels = 8 // of slots there are 6
	s := newScreener(d)
	m := levelsOf(s)
	if shared := len(m.mean) - len(m.theta); shared != 6 {
		t.Errorf("%d effects are shared", shared)
	}
	for _, p := range m.all {
		if len(p.classes) != 6 {
			t.Fatalf("pickup %s has %d classes", p.name, len(p.classes))
		}
	}
	for x, c := range m.class {
		if c.string != s.cells[x].String || c.unseen != solve.Square(curve.Effects[curve.StringEffect].Spread.SD) {
			t.Fatalf("cell %d of string %d: %+v", x, s.cells[x].String, c)
		}
	}
	if v := m.classes.pickupVariance(); !(v > solve.Square(curve.Effects[curve.PickupEffect].Spread.SD)) {
		t.Errorf("variance of pickups is %g", v)
	}
	got := mustScreen(t, d)
	if len(got) != len(want) {
		t.Fatalf("found %v, want %v", got, want)
	}
	for i := range want {
		if got[i].Kind != want[i].Kind || got[i].Pickup != want[i].Pickup || got[i].Session != want[i].Session {
			t.Errorf("found %v, want %v", got[i], want[i])
		}
	}
}

// apart is by how much levels expected differ, root mean square in standard deviations.
func apart(got, want []row) float64 {
	var sum float64
	for i := range got {
		sum += solve.Square(got[i].residual-want[i].residual) / want[i].noise
	}
	return math.Sqrt(sum / float64(len(got)))
}

// Where little is put right, the next round looks again at the pickups that it touches, and
// finds what it would find in a record that had been filed so.
func TestFewCorrectionsConcernFewMountings(t *testing.T) {
	d, pickups := slippedShop()
	s := newScreener(d)
	s.fit()
	if err := s.examineAll(t.Context()); err != nil {
		t.Fatal(err)
	}
	found := s.likeliest()
	if len(found) < 3 {
		t.Fatalf("found %d mistakes", len(found))
	}
	s.accept(found, nil)
	if got := slices.Sorted(maps.Keys(s.again.pickups)); s.again.all || !slices.Equal(got, pickups) {
		t.Errorf("looks again at all: %v, or at %v; want %v", s.again.all, got, pickups)
	}
	if err := s.examineAll(t.Context()); err != nil {
		t.Fatal(err)
	}

	filed := &cell.Data{}
	for _, c := range s.cells {
		filed.Cells = append(filed.Cells, *c)
	}
	anew := newScreener(filed)
	anew.fit()
	if err := anew.examineAll(t.Context()); err != nil {
		t.Fatal(err)
	}
	for i := range s.cells {
		if got, want := s.levels.weight[i], anew.levels.weight[i]; slices.Contains(pickups, s.cells[i].Pickup) && math.Abs(got-want) > 0.1 {
			t.Errorf("cell %d: weight %.4g, want %.4g", i, got, want)
		}
	}
	if rms := apart(s.levels.allRows(), anew.levels.allRows()); rms > 0.003 {
		t.Errorf("levels expected differ by %.4g standard deviations", rms)
	}
	for k := range s.mountings {
		for _, of := range [][2]*hypothesis{{s.likely[k], anew.likely[k]}, {s.drifts[k], anew.drifts[k]}} {
			switch {
			case (of[0] == nil) != (of[1] == nil):
				t.Errorf("mounting %d: %v, want %v", k, of[0], of[1])
			case of[0] != nil && (of[0].kind != of[1].kind || math.Abs(of[0].evidence-of[1].evidence) > 0.05):
				t.Errorf("mounting %d: %s with evidence %.3f, want %s with %.3f", k, of[0].kind, of[0].evidence, of[1].kind, of[1].evidence)
			}
		}
	}
}
