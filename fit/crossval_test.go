package fit

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/profiles"
)

// flat predicts the mean level of its data for every cell.
type flat struct {
	Model
	level float64
}

func (f flat) Expect(cells []cell.Cell) []float64 {
	out := make([]float64, len(cells))
	for i := range out {
		out[i] = f.level
	}
	return out
}

func fitFlat(_ context.Context, d *cell.Data) (Model, error) {
	var f flat
	for _, c := range d.Cells {
		f.level += c.Mean / float64(len(d.Cells))
	}
	return f, nil
}

// crossValidate leaves parts out by fitting the rest.
func crossValidate(d *cell.Data, fit fitter, step func(done, of int)) crossValidation {
	v := &validation{ctx: context.Background(), d: d, parts: partsOf(d), refit: fit, step: step}
	cv, _ := v.run()
	return cv
}

func TestCrossValidateByHand(t *testing.T) {
	// A is predicted by B's mean 2, B by A's mean 0. Errors of A: -3, -1
	// (balance -1, 1); of B: 1, 3 (balance -1, 1).
	d := &cell.Data{Cells: []cell.Cell{{Mounting: &cell.Mounting{Pickup: "A"}, Mean: -1}, {Mounting: &cell.Mounting{Pickup: "A"}, Mean: 1}, {Mounting: &cell.Mounting{Pickup: "B"}, Mean: 1}, {Mounting: &cell.Mounting{Pickup: "B"}, Mean: 3}}}
	cv := crossValidate(d, fitFlat, nil)
	balance, whole := level.PerLn, level.PerLn*math.Sqrt((9+1+1+9)/4.0)
	if math.Abs(*cv.balance-balance) > 1e-12 || math.Abs(*cv.level-whole) > 1e-12 || len(cv.notes) != 0 {
		t.Errorf("got %g, %g, %q; want %g, %g", *cv.balance, *cv.level, cv.notes, balance, whole)
	}
}

// Sets are left out across pickups, and each pickup's own mean error is taken
// off. Without X the model says 4, the mean of Y; X's cells miss by -5, -3 in A
// (balance -1, 1) and by -4, 0 in B (-2, 2). Without Y it says 1.
func TestCrossValidateLeavesSetsOut(t *testing.T) {
	d := &cell.Data{Cells: []cell.Cell{
		{Mounting: &cell.Mounting{Pickup: "A", Set: "X"}, Mean: -1}, {Mounting: &cell.Mounting{Pickup: "A", Set: "X"}, Mean: 1}, {Mounting: &cell.Mounting{Pickup: "A", Set: "Y"}, Mean: 3},
		{Mounting: &cell.Mounting{Pickup: "B", Set: "X"}, Mean: 0}, {Mounting: &cell.Mounting{Pickup: "B", Set: "X"}, Mean: 4}, {Mounting: &cell.Mounting{Pickup: "B", Set: "Y"}, Mean: 5},
	}}
	var steps []int
	cv := crossValidate(d, fitFlat, func(done, of int) { steps = append(steps, done, of) })
	if want := []int{1, 4, 2, 4, 3, 4, 4, 4}; !slices.Equal(steps, want) {
		t.Errorf("steps %v, want %v", steps, want)
	}
	if len(cv.sets) != 2 || cv.sets[0].Name != "X" || cv.sets[0].Cells != 4 || cv.sets[1].Balance != nil {
		t.Fatalf("got %+v", cv.sets)
	}
	balance, level := level.PerLn*math.Sqrt((1+1+4+4)/4.0), level.PerLn*math.Sqrt((25+9+16+0)/4.0)
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"all sets", *cv.set, balance}, {"balance of X", *cv.sets[0].Balance, balance}, {"level of X", *cv.sets[0].Level, level}} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("%s: got %g, want %g", c.what, c.got, c.want)
		}
	}
}

// What a set alone has is told by priors alone, and said to be.
func TestFoldNamesWrapsThatNothingElseHas(t *testing.T) {
	d := &cell.Data{Cells: []cell.Cell{
		{Mounting: &cell.Mounting{Pickup: "A", Set: "X"}, Wrap: "plain"}, {Mounting: &cell.Mounting{Pickup: "A", Set: "X"}, Wrap: "nickel"},
		{Mounting: &cell.Mounting{Pickup: "A", Set: "Y"}, Wrap: "plain"}, {Mounting: &cell.Mounting{Pickup: "A", Set: "Y"}, Wrap: "bronze"},
		{Mounting: &cell.Mounting{Pickup: "A", Set: "Z"}, Wrap: "bronze"},
	}}
	sets := crossValidate(d, fitFlat, nil).sets
	if !slices.Equal(sets[0].NewWraps, []profiles.Wrap{profiles.Nickel}) || len(sets[1].NewWraps)+len(sets[2].NewWraps) > 0 {
		t.Errorf("got %+v", sets)
	}
}

func TestCrossValidateWithoutFigures(t *testing.T) {
	one := &cell.Data{Cells: []cell.Cell{{Mounting: &cell.Mounting{Pickup: "A"}, Mean: -1}, {Mounting: &cell.Mounting{Pickup: "A"}, Mean: 1}}}
	if cv := crossValidate(one, fitFlat, nil); cv.balance != nil || cv.level != nil || len(cv.notes) != 1 {
		t.Errorf("one pickup: got %+v", cv)
	}
	single := &cell.Data{Cells: []cell.Cell{{Mounting: &cell.Mounting{Pickup: "A"}, Mean: -1}, {Mounting: &cell.Mounting{Pickup: "B"}, Mean: 1}}}
	if cv := crossValidate(single, fitFlat, nil); cv.balance != nil || cv.level == nil {
		t.Errorf("one cell a pickup: got %+v", cv)
	}
	refuse := func(context.Context, *cell.Data) (Model, error) { return nil, errors.New("too little") }
	cv := crossValidate(single, refuse, nil)
	if cv.balance != nil || len(cv.notes) != 2 || !strings.Contains(cv.notes[0], `pickup "A" cannot be predicted from the others: too little`) {
		t.Errorf("nothing fits: got %+v", cv)
	}
}

// In a world where the model is right, pickups left out are missed by the
// noise and by little more.
func TestCrossValidateFindsTheNoise(t *testing.T) {
	w := truth{pole: 0.45, core: 1.1, lift: -0.5, noise: 0.05}
	d := &cell.Data{Cells: w.cells(rand.New(rand.NewPCG(1, 9)), 20)}
	r, err := measuredAs(d, logHeight.name)
	if err != nil {
		t.Fatal(err)
	}
	if got := *r.CVBalance / (level.PerLn * w.noise); got < 0.9 || got > 1.1 {
		t.Errorf("balance is missed by %.2f times the noise", got)
	}
	if *r.CVLevel < 2**r.CVBalance { // pickups differ by 0.2, four times the noise
		t.Errorf("level is missed by %.2f dB, balance by %.2f dB", *r.CVLevel, *r.CVBalance)
	}
	gapOnly, err := measuredAs(d, logGap.name)
	if err != nil {
		t.Fatal(err)
	}
	if *gapOnly.CVBalance < *r.CVBalance {
		t.Errorf("the wrong kind predicts better: %.3f against %.3f dB", *gapOnly.CVBalance, *r.CVBalance)
	}
}
