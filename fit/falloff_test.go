package fit

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

var steels = []profiles.String{
	{Note: "E4", Gauge: 0.254, Core: 0.254, Wrap: "plain"},
	{Note: "B3", Gauge: 0.330, Core: 0.330, Wrap: "plain"},
	{Note: "G3", Gauge: 0.508, Core: 0.267, Wrap: "nickel"},
	{Note: "D3", Gauge: 0.660, Core: 0.330, Wrap: "stainless"},
	{Note: "A2", Gauge: 0.914, Core: 0.368, Wrap: "nickel"},
	{Note: "E2", Gauge: 1.168, Core: 0.419, Wrap: "nickel"},
}

// falloffShop makes cells of pickups whose truth is the model's own equation
// with scatter of poles, strings and mountings.
func falloffShop(rng *rand.Rand, pickups int) ([]float64, []Cell) {
	c := &curve{Wraps: []string{"nickel", "stainless"}}
	th := make([]float64, c.size())
	for j, p := range falloffPriors {
		th[j] = p.Mean + 0.5*p.SD*rng.NormFloat64()
	}
	for i, w := range c.Wraps {
		th[pFixed+i] = wrapPrior(w).Mean + 0.3*rng.NormFloat64()
	}
	th[pLevel] = 2.7
	var cells []Cell
	strings := [2][6]float64{}
	for k := range strings {
		for i := range strings[k] {
			strings[k][i] = 0.03 * rng.NormFloat64()
		}
	}
	for p := range pickups {
		coil := 0.12 * rng.NormFloat64()
		var height, pole [6]float64
		for i := range height {
			height[i], pole[i] = 2.4*rng.Float64(), 0.05*rng.NormFloat64()
		}
		for session := range 3 {
			lift := 0.05 * rng.NormFloat64()
			for i, s := range steels {
				thicker := 1.0
				if session == 1 {
					thicker = 1.2
				}
				hz, _ := profiles.Pitch(s.Note)
				cell := Cell{Pickup: fmt.Sprint("P", p), Session: fmt.Sprint("s", session), String: i + 1, Set: fmt.Sprint("set", session%2),
					Core: s.Core * thicker, Gauge: s.Gauge * thicker, Wrap: s.Wrap, PoleHeight: height[i],
					StringHeight: 3.6 + 0.4*float64(session), Mode: "P", Excite: Travel, Takes: 8, SD: 0.025, Freq: hz, Batch: "b"}
				at := (&curve{Excite: Travel, Pitch: true}).siteOf(&cell, 6)
				cell.Mean = c.predict(th, at, lift) + coil + pole[i] + strings[session%2][i] + 0.02*rng.NormFloat64()
				cells = append(cells, cell)
			}
		}
	}
	return th, cells
}

// TestFalloffRecoversTruth fits shops whose truth is known: estimates lie
// within their stated errors, and the balance of pickups that were not measured
// within the stated uncertainty.
func TestFalloffRecoversTruth(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	inside, all := 0, 0
	var chi float64
	predicted := 0
	for range 12 {
		th, cells := falloffShop(rng, 6)
		f, err := fitFalloff(&Data{Cells: cells, Readings: len(cells)}, nil)
		if err != nil {
			t.Fatal(err)
		}
		for j := range th {
			if j == pLevel { // the mean coil of the shop is part of it
				continue
			}
			all++
			if math.Abs(f.Theta[j]-th[j]) < 2*math.Sqrt(f.Cov[j][j]) {
				inside++
			}
		}
		s := &Setup{Strings: steels, StringHeights: []float64{3, 3.4, 3.6, 3.7, 3.6, 3.4}}
		heights := []float64{0.5, 1, 1.5, 1.5, 1, 0.5}
		got := f.Level(nil, s, heights)
		cov := f.Uncertainty(s, heights)
		mean := 0.0
		miss := make([]float64, len(steels))
		for i := range steels {
			miss[i] = (&curve{Wraps: f.Wraps}).predict(th, f.site(s, i, heights), 0) + math.Hypot(0.05, 0.03)*rng.NormFloat64() - got[i]
			mean += miss[i] / float64(len(miss))
		}
		for i := range miss { // what all strings share does not matter to balance
			chi += (miss[i] - mean) * (miss[i] - mean) / balanceVariance(cov, i)
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

// balanceVariance is the variance of one string less the mean of all.
func balanceVariance(cov *mat.SymDense, i int) float64 {
	n, _ := cov.Dims()
	v := cov.At(i, i)
	for j := range n {
		v -= 2 * cov.At(i, j) / float64(n)
		for k := range n {
			v += cov.At(j, k) / float64(n*n)
		}
	}
	return v
}

// TestFalloffReadsBack writes a model as JSON and reads it: it predicts the
// same.
func TestFalloffReadsBack(t *testing.T) {
	_, cells := falloffShop(rand.New(rand.NewPCG(5, 6)), 4)
	f, err := fitFalloff(&Data{Cells: cells}, nil)
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
	s := &Setup{Strings: steels, StringHeights: []float64{3, 3.4, 3.6, 3.7, 3.6, 3.4}, Excite: Force}
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
	_, cells := falloffShop(rand.New(rand.NewPCG(7, 8)), 3)
	constant := append([]Cell(nil), cells...)
	for i := range constant {
		constant[i].Mean = 2
	}
	oneHeight := append([]Cell(nil), cells...)
	for i := range oneHeight {
		oneHeight[i].PoleHeight, oneHeight[i].StringHeight, oneHeight[i].Freq = 1, 3.5, 0
	}
	for name, some := range map[string][]Cell{"none": nil, "one": cells[:1], "one pickup": cells[:18], "constant": constant, "one height": oneHeight} {
		f, err := fitFalloff(&Data{Cells: some}, nil)
		if err != nil {
			t.Logf("%s: %v", name, err)
			continue
		}
		for _, p := range f.Parameters() {
			if !finite(p.Value) || !finite(p.SE) {
				t.Errorf("%s: %s = %g +- %g", name, p.Name, p.Value, p.SE)
			}
		}
	}
}

// TestFalloffWithoutPitch: readings of an odd number of strings, whose frequency
// was not written down, teach nothing of pitch, so predictions must not use it
// either.
func TestFalloffWithoutPitch(t *testing.T) {
	_, all := falloffShop(rand.New(rand.NewPCG(9, 10)), 4)
	var cells []Cell
	for _, c := range all {
		if c.Freq = 0; c.String < 6 {
			cells = append(cells, c)
		}
	}
	d := &Data{Cells: cells}
	d.tune()
	f, err := fitFalloff(d, nil)
	if err != nil {
		t.Fatal(err)
	}
	if f.Pitch || len(f.Notes()) == 0 {
		t.Errorf("pitch %v, notes %q", f.Pitch, f.Notes())
	}
	s := &Setup{Strings: slices.Clone(steels), StringHeights: []float64{3, 3, 3, 3, 3, 3}}
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
	r, err := Best(gather(t, readRecord(t, "readings.csv")), nil)
	if err != nil {
		t.Fatal(err)
	}
	if r.Kind != falloffKind.Name || len(r.Compared) != len(kinds) {
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
