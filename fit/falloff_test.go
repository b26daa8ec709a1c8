package fit

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
	"evenpole/fit/curve"
	"evenpole/fit/curve/curvetest"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// TestFalloffRecoversTruth fits shops whose truth is known: estimates lie
// within their stated errors, and the balance of pickups that were not measured
// within the stated uncertainty.
func TestFalloffRecoversTruth(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	inside, all := 0, 0
	var chi float64
	predicted := 0
	for range 12 {
		th, cells := curvetest.Shop(rng, 6)
		f, err := fitFalloff(context.Background(), &cell.Data{Cells: cells, Readings: len(cells)}, nil)
		if err != nil {
			t.Fatal(err)
		}
		for j := range th {
			if j == curve.Level { // the mean coil of the shop is part of it
				continue
			}
			all++
			if math.Abs(f.Theta[j]-th[j]) < 2*math.Sqrt(f.Cov[j][j]) {
				inside++
			}
		}
		s := &Setup{Strings: curvetest.Steels, StringHeights: []float64{3, 3.4, 3.6, 3.7, 3.6, 3.4}}
		heights := []float64{0.5, 1, 1.5, 1.5, 1, 0.5}
		got := f.Level(nil, s, heights)
		cov := f.Uncertainty(s, heights)
		mean := 0.0
		miss := make([]float64, len(curvetest.Steels))
		for i := range curvetest.Steels {
			miss[i] = (&curve.Curve{Wraps: f.Wraps}).Predict(th, f.Site(s, i, heights), 0) + math.Hypot(0.05, 0.03)*rng.NormFloat64() - got[i]
			mean += miss[i] / float64(len(miss))
		}
		for i := range miss { // what all strings share does not matter to balance
			chi += (miss[i] - mean) * (miss[i] - mean) / curvetest.BalanceVariance(cov, i)
			predicted++
		}
	}
	if share := float64(inside) / float64(all); share < 0.88 {
		t.Errorf("%d of %d estimates within two standard errors", inside, all)
	}
	ratio := chi / float64(predicted)
	t.Logf("%d of %d estimates within two standard errors; squared errors of balance over stated variance %.2f", inside, all, ratio)
	if ratio > 1.5 || ratio < 0.3 {
		t.Errorf("squared errors of balance over stated variance: %.2f", ratio)
	}
}

// TestFalloffReadsBack writes a model as JSON and reads it: it predicts the
// same.
func TestFalloffReadsBack(t *testing.T) {
	_, cells := curvetest.Shop(rand.New(rand.NewPCG(5, 6)), 4)
	f, err := fitFalloff(context.Background(), &cell.Data{Cells: cells}, nil)
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(f)
	if err != nil {
		t.Fatal(err)
	}
	back, err := decodeFalloff(text)
	if err != nil {
		t.Fatal(err)
	}
	s := &Setup{Strings: curvetest.Steels, StringHeights: []float64{3, 3.4, 3.6, 3.7, 3.6, 3.4}, Excite: profiles.Force}
	heights := []float64{0.5, 1, 1.5, 1.5, 1, 0.5}
	want, got := f.Level(nil, s, heights), back.Level(nil, s, heights)
	for i := range want {
		if got[i] != want[i] || back.Uncertainty(s, heights).At(i, i) != f.Uncertainty(s, heights).At(i, i) {
			t.Errorf("string %d: %v before, %v after", i+1, want[i], got[i])
		}
	}
	for _, bad := range []string{"{}", `{"theta":[1]}`, `[]`} {
		if _, err := decodeFalloff([]byte(bad)); err == nil {
			t.Errorf("%s was read", bad)
		}
	}
}

// TestFalloffOnFewData gives a plain refusal or finite figures, never NaN.
func TestFalloffOnFewData(t *testing.T) {
	_, cells := curvetest.Shop(rand.New(rand.NewPCG(7, 8)), 3)
	constant := append([]cell.Cell(nil), cells...)
	for i := range constant {
		constant[i].Mean = 2
	}
	oneHeight := append([]cell.Cell(nil), cells...)
	for i := range oneHeight {
		oneHeight[i].PoleHeight, oneHeight[i].StringHeight, oneHeight[i].Freq = 1, 3.5, 0
	}
	for name, some := range map[string][]cell.Cell{"none": nil, "one": cells[:1], "one pickup": cells[:18], "constant": constant, "one height": oneHeight} {
		f, err := fitFalloff(context.Background(), &cell.Data{Cells: some}, nil)
		if err != nil {
			t.Logf("%s: %v", name, err)
			continue
		}
		for _, p := range f.Parameters() {
			if !solve.Finite(p.Value) || !solve.Finite(p.SE) {
				t.Errorf("%s: %s = %g +- %g", name, p.Name, p.Value, p.SE)
			}
		}
	}
}

// TestFalloffWithoutPitch: readings of an odd number of strings, whose frequency
// was not written down, teach nothing of pitch, so predictions must not use it
// either.
func TestFalloffWithoutPitch(t *testing.T) {
	_, all := curvetest.Shop(rand.New(rand.NewPCG(9, 10)), 4)
	var cells []cell.Cell
	for _, c := range all {
		if c.Freq = 0; c.String < 6 { // five strings have no usual tuning
			cells = append(cells, c)
		}
	}
	d := &cell.Data{Cells: cells}
	f, err := fitFalloff(context.Background(), d, nil)
	if err != nil {
		t.Fatal(err)
	}
	if f.Pitch || len(f.Notes()) == 0 {
		t.Errorf("pitch %v, notes %q", f.Pitch, f.Notes())
	}
	s := &Setup{Strings: slices.Clone(curvetest.Steels), StringHeights: []float64{3, 3, 3, 3, 3, 3}}
	heights := make([]float64, 6)
	before := f.Level(nil, s, heights)
	for i := range s.Strings {
		s.Strings[i].Note = "C2"
	}
	for i, v := range f.Level(nil, s, heights) {
		if v != before[i] {
			t.Errorf("string %d: %g tuned down, %g before", i+1, v, before[i])
		}
	}
}

// TestFalloffOnSampleRecord: on readings that no part of this program made, the
// falloff model predicts pickups left out at least twice as well as either
// baseline, so that Best takes it.
func TestFalloffOnSampleRecord(t *testing.T) {
	r, err := Best(context.Background(), celltest.Sample(t), nil)
	if err != nil {
		t.Fatal(err)
	}
	if r.Kind != falloffKind.name || len(r.Compared) != len(kinds) {
		t.Fatalf("got %s of %v", r.Kind, r.Compared)
	}
	for _, s := range r.Compared {
		t.Logf("%s: balance of pickups left out %.2f dB", s.Kind, *s.CVBalance)
		if s.Kind != r.Kind && *s.CVBalance < 2**r.CVBalance {
			t.Errorf("%s predicts balance to %.2f dB, falloff to %.2f dB", s.Kind, *s.CVBalance, *r.CVBalance)
		}
	}
	for name, sign := range map[string]float64{"area_exponent": 1, "falloff_slope": 1, "end_loss": 1} {
		if p := parameter(t, r.Model, name); p.Value*sign < 2*p.SE {
			t.Errorf("%s = %.3f +- %.3f", name, p.Value, p.SE)
		}
	}
}

// A large record's search begins in some of its pickups, of all that come in turns; a small
// one's in all.
func TestSearchBeginsInSomePickups(t *testing.T) {
	var cells []cell.Cell
	for k := range 320 {
		for range 24 {
			cells = append(cells, cell.Cell{Mounting: &cell.Mounting{Pickup: fmt.Sprint(k), Batch: fmt.Sprint(k % 2)}})
		}
	}
	count := map[string]int{}
	for _, c := range fewPickups(cells) {
		count[c.Batch]++
	}
	if count["0"] != 32*24 || count["1"] != 32*24 {
		t.Errorf("cells of every other pickup: %v", count)
	}
	if some := fewPickups(cells[:len(cells)/2]); some != nil {
		t.Errorf("%d cells of a small record", len(some))
	}
}
