package fit

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"

	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
	"evenpole/fit/level"
)

// threePickups has two cells each; a flat model misses the balance of each by
// half of what they differ by.
func threePickups() *cell.Data {
	return &cell.Data{Cells: []cell.Cell{
		{Mounting: &cell.Mounting{Pickup: "A"}, Mean: 1}, {Mounting: &cell.Mounting{Pickup: "A"}, Mean: 3},
		{Mounting: &cell.Mounting{Pickup: "B"}, Mean: 2}, {Mounting: &cell.Mounting{Pickup: "B"}, Mean: 6},
		{Mounting: &cell.Mounting{Pickup: "C"}, Mean: 0}, {Mounting: &cell.Mounting{Pickup: "C"}, Mean: 6},
	}}
}

// steep predicts as many levels as it has, cell by cell.
type steep struct {
	Model
	levels []float64
}

func (s steep) Expect(cells []cell.Cell) []float64 { return s.levels[:len(cells)] }

// saw is a result that was fitted on some pickups, whose balance it missed by
// given figures, dB.
func saw(d *cell.Data, m Model, missed map[string]float64) *Result {
	r := &Result{Model: m}
	for _, p := range d.Pickups() {
		if v, ok := missed[p]; ok {
			_, own := d.Split(p)
			r.CVPickups = append(r.CVPickups, Fold{Name: p, Cells: len(own), Balance: &v, Level: &v, Data: (&cell.Data{Cells: own}).Fingerprint()})
		}
	}
	return r
}

func TestCompareTakesWhatNeitherSaw(t *testing.T) {
	d := threePickups()
	mean, exact := flat{level: 2}, steep{levels: []float64{0, 4}} // misses B by nothing but its level
	for _, c := range []struct {
		a, b       map[string]float64
		basis      string
		pickups    []string
		want, than float64
	}{
		{map[string]float64{"A": 1}, map[string]float64{"A": 2}, NeitherSaw, []string{"B", "C"}, level.PerLn * math.Sqrt((4+9)/2.0), level.PerLn * math.Sqrt((0+1)/2.0)},
		{map[string]float64{"A": 1, "B": 3, "C": 5}, map[string]float64{"A": 2, "B": 4}, OneSaw, []string{"C"}, 5, level.PerLn},
		{map[string]float64{"A": 1}, map[string]float64{"A": 2, "B": 4, "C": 2}, OneSaw, []string{"B", "C"}, level.PerLn * math.Sqrt((4+9)/2.0), math.Sqrt((16 + 4) / 2.0)},
		{map[string]float64{"A": 1, "B": 2, "C": 2}, map[string]float64{"A": 2, "B": 4, "C": 4}, BothSaw, []string{"A", "B", "C"}, math.Sqrt(3), math.Sqrt(12)},
	} {
		got := Compare(saw(d, mean, c.a), saw(d, exact, c.b), d)
		if got.Basis != c.basis || !slices.Equal(got.Pickups, c.pickups) || got.Cells != 2*len(c.pickups) {
			t.Errorf("%v, %v: got %+v", c.a, c.b, got)
			continue
		}
		if math.Abs(*got.Balance[0]-c.want) > 1e-9 || math.Abs(*got.Balance[1]-c.than) > 1e-9 {
			t.Errorf("%s: got %g and %g dB, want %g and %g", c.basis, *got.Balance[0], *got.Balance[1], c.want, c.than)
		}
		if got.SecondAsWell() != (c.than <= c.want+AsWell) {
			t.Errorf("%s: %g dB against %g dB: as well is %v", c.basis, c.than, c.want, got.SecondAsWell())
		}
	}
}

// Pickups whose cells have changed since a model was fitted are another
// matter than those that it knew.
func TestCompareNewWhereEveryPickupHasChanged(t *testing.T) {
	d := threePickups()
	all := map[string]float64{"A": 1, "B": 1, "C": 1}
	old := saw(d, flat{}, all)
	old.Kind = "flat"
	for i := range d.Cells {
		d.Cells[i].Mean += 0.5
	}
	fresh := saw(d, steep{}, all)
	if c := CompareNew(old, fresh, d); c.Basis != NoBasis || !c.SecondAsWell() {
		t.Errorf("no such kind was tried: got %+v", c)
	}
	fresh.folds = map[string][]Fold{"flat": saw(d, flat{}, map[string]float64{"A": 1, "B": 1, "C": 0.5}).CVPickups}
	c := CompareNew(old, fresh, d)
	if c.Basis != ByKind || len(c.Pickups) != 3 || c.SecondAsWell() {
		t.Errorf("got %+v", c)
	}
}

// withKinds lets Best choose among other kinds.
func withKinds(t *testing.T, other ...modelKind) {
	t.Helper()
	before := kinds
	kinds = other
	t.Cleanup(func() { kinds = before })
}

func TestBestWithoutThePreferredKind(t *testing.T) {
	d := &cell.Data{Cells: truth{pole: 0.45, core: 1.1, lift: -0.2, noise: 0.02}.cells(rand.New(rand.NewPCG(3, 3)), 1)}
	refuses := modelKind{name: "oracle", fit: func(context.Context, *cell.Data) (Model, error) { return nil, &CannotFitError{"too little", "capture"} }}
	withKinds(t, refuses, logLinearKind(logHeight), logLinearKind(logGap))
	r, err := Best(context.Background(), d, nil)
	if err != nil {
		t.Fatal(err)
	}
	if r.Kind != logHeight.name {
		t.Errorf("got %s", r.Kind)
	}
	if w := r.Warnings[len(r.Warnings)-1]; !strings.Contains(w, "the oracle model cannot be fitted, so that a loglinear-height one has to do") || !strings.Contains(w, "too little") {
		t.Errorf("got %q", w)
	}
	withKinds(t, refuses)
	if _, err := Best(context.Background(), d, nil); err == nil || !strings.Contains(err.Error(), "too little") {
		t.Errorf("got %v", err)
	}
}

// Best chooses among the kinds that are named, and refuses a name that is none.
func TestBestAmongNamedKinds(t *testing.T) {
	d := celltest.Sample(t)
	r, err := Best(context.Background(), d, nil, logGap.name, logHeight.name)
	if err != nil || len(r.Compared) != 2 || r.Kind == falloffName {
		t.Fatalf("got %+v, %v", r, err)
	}
	if _, err := Best(context.Background(), d, nil, "spline"); err == nil || !strings.Contains(err.Error(), `got "spline"`) {
		t.Errorf("got %v", err)
	}
}

// With one pickup nothing tells which kind predicts best: the falloff model
// knows more beforehand.
func TestBestOfOnePickupIsFalloff(t *testing.T) {
	r, err := Best(context.Background(), &cell.Data{Cells: sampleResultCells(t), Readings: 9}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if r.Kind != falloffKind.name || r.CVBalance != nil || len(r.CVPickups) != 1 || len(r.Compared) != 3 {
		t.Errorf("got %s of %+v", r.Kind, r.Compared)
	}
}

// In a world that one of the baselines describes, Best takes it over a kind
// that comes first and predicts worse; the order of kinds does not matter then.
func TestBestPredictsBest(t *testing.T) {
	w := truth{pole: 0.45, core: 1.1, lift: -0.2, noise: 0.02}
	d := &cell.Data{Cells: w.cells(rand.New(rand.NewPCG(3, 3)), 12)}
	for _, order := range [][]modelKind{{logLinearKind(logGap), logLinearKind(logHeight)}, {logLinearKind(logHeight), logLinearKind(logGap)}} {
		withKinds(t, order...)
		var said []string
		r, err := Best(context.Background(), d, func(kind string, done, of int) { said = append(said, kind) })
		if err != nil {
			t.Fatal(err)
		}
		if r.Kind != logHeight.name {
			t.Errorf("got %s", r.Kind)
		}
		if !slices.Contains(said, order[0].name) || !slices.Contains(said, order[1].name) {
			t.Errorf("progress was said of %q", said)
		}
	}
}

// Where all poles are as high, cores alone predict pickups left out well, and
// tell nothing of how to plan.
func TestBestKnowsWhatHeightsDo(t *testing.T) {
	d := &cell.Data{Cells: truth{core: 1.1, noise: 0.01}.cells(rand.New(rand.NewPCG(3, 3)), 4)}
	for i := range d.Cells {
		d.Cells[i].PoleHeight, d.Cells[i].StringHeight = 1, 3
	}
	r, err := Best(context.Background(), d, nil)
	if err != nil {
		t.Fatal(err)
	}
	if r.Kind != falloffKind.name {
		t.Errorf("got %s", r.Kind)
	}
}

// Levels that follow a line to the last digit were not measured.
func TestBestDoesNotBelieveInExactness(t *testing.T) {
	w := truth{pole: 0.45, core: 1.1, lift: -0.2}
	withKinds(t, logLinearKind(logHeight))
	_, err := Best(context.Background(), &cell.Data{Cells: w.cells(rand.New(rand.NewPCG(3, 3)), 4)}, nil)
	if err == nil || !strings.Contains(err.Error(), "leaves nothing of any of 48 cells; look whether the readings were measured") {
		t.Errorf("got %v", err)
	}
}

func TestNoCellIsNoModel(t *testing.T) {
	for _, k := range Kinds() {
		if _, err := measuredAs(&cell.Data{Readings: 3}, k); err == nil || !strings.Contains(err.Error(), "no good take among 3 readings") {
			t.Errorf("%s: got %v", k, err)
		}
	}
}

// What comparing takes grows with pickups, and not with pickups times cells.
func TestCompareCopiesNoCells(t *testing.T) {
	const pickups, each = 300, 40
	d := &cell.Data{}
	var r Result
	for p := range pickups {
		name := fmt.Sprintf("P%04d", p)
		for range each {
			d.Cells = append(d.Cells, cell.Cell{Mounting: &cell.Mounting{Pickup: name}})
		}
		balance := 0.1
		r.CVPickups = append(r.CVPickups, Fold{Name: name, Cells: each, Balance: &balance, Level: &balance})
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	c := Compare(&r, &r, d)
	runtime.ReadMemStats(&after)
	if len(c.Pickups) != pickups || c.Basis != BothSaw {
		t.Errorf("compared on %d pickups, %s", len(c.Pickups), c.Basis)
	}
	if took := (after.TotalAlloc - before.TotalAlloc) >> 20; took > 20 {
		t.Errorf("took %d MB", took)
	}
}
