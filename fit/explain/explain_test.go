package explain

import (
	"context"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
	"evenpole/fit/curve"
	"evenpole/fit/curve/curvetest"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// drawnModel is a falloff model with parameters drawn from their priors.
func drawnModel(rng *rand.Rand) *fit.Falloff {
	f := &fit.Falloff{Curve: curve.Curve{Wraps: []profiles.Wrap{profiles.Nickel, profiles.Stainless}, Excite: profiles.Travel, Pitch: true}}
	f.Theta = make([]float64, f.Size())
	for j := range f.Theta {
		p := solve.Normal{Mean: math.Log(0.2), SD: 0.3}
		if j < curve.FixedParameters {
			p = curve.FixedPriors[j]
		}
		f.Theta[j] = p.Mean + p.SD*rng.NormFloat64()
	}
	f.SDs = []float64{0.03}
	for _, e := range curve.Effects {
		f.SDs = append(f.SDs, e.Spread.SD)
		f.LevelCounts = append(f.LevelCounts, 1)
	}
	f.Cov = make([][]float64, f.Size())
	for j := range f.Cov {
		f.Cov[j] = make([]float64, f.Size())
	}
	return f
}

var bench = fit.Setup{
	Strings: curvetest.Steels, StringHeights: []float64{3.0, 3.5, 3.9, 4.0, 3.7, 3.3}, Spacing: 10.2, Poles: profiles.Rod,
}

// TestPartsAddUp: whatever terms the model has, parts add up to what it
// predicts, and a cause's parts to zero over the strings.
func TestPartsAddUp(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, play := range []profiles.Excitation{profiles.Travel, profiles.Force} {
		for _, pitch := range []bool{true, false} {
			f := drawnModel(rng)
			f.Pitch = pitch
			s := bench
			s.Excite = play
			heights := []float64{0.1, 0.9, 1.4, 2.1, 1.2, 0.3}
			x, err := ExplainSetup(f, &s, heights)
			if err != nil {
				t.Fatal(err)
			}
			want := solve.Centred(f.Level(nil, &s, heights))
			checkSums(t, x, want)
			for i, e := range x.Strings {
				if e.Predicted != e.Balance || e.String != i+1 || e.Note != curvetest.Steels[i].Note || e.PoleHeight != heights[i] {
					t.Errorf("string %d: %+v", i+1, e)
				}
			}
		}
	}
}

// checkSums compares the sums of parts with balances in ln v.
func checkSums(t *testing.T, x *Explanation, want []float64) {
	t.Helper()
	for i, e := range x.Strings {
		var sum float64
		for _, c := range x.Causes {
			part, ok := e.Parts[c.Name]
			if !ok {
				t.Errorf("string %d has no part of cause %q", i+1, c.Name)
			}
			sum += part
		}
		if len(e.Parts) != len(x.Causes) || math.Abs(sum-level.PerLn*want[i]) > 1e-9 || math.Abs(e.Balance-sum) > 1e-9 {
			t.Errorf("string %d: %d parts add up to %.9f, balance %.9f, want %.9f dB", i+1, len(e.Parts), sum, e.Balance, level.PerLn*want[i])
		}
	}
	for _, c := range x.Causes {
		var sum float64
		for _, e := range x.Strings {
			sum += e.Parts[c.Name]
		}
		if math.Abs(sum) > 1e-9 {
			t.Errorf("parts of cause %q add up to %g over the strings", c.Name, sum)
		}
	}
}

// TestExplainMeasured: with the truth for a model, the parts of what is random
// are found again, and all adds up to what was measured.
func TestExplainMeasured(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	th, cells := curvetest.Shop(rng, 8)
	f := drawnModel(rng)
	f.Theta = th
	x, err := ExplainPickup(f, &cell.Data{Cells: cells}, "P3", "s1")
	if err != nil {
		t.Fatal(err)
	}
	var measured []float64
	for _, c := range cells {
		if c.Pickup == "P3" && c.Session == "s1" {
			measured = append(measured, c.Mean)
		}
	}
	checkSums(t, x, solve.Centred(measured))
	for i, e := range x.Strings {
		if left := e.Parts["left"]; math.Abs(left) > 0.6 {
			t.Errorf("string %d: %.2f dB not explained, noise was 0.17 dB", i+1, left)
		}
		if e.Predicted == e.Balance {
			t.Errorf("string %d: predicted %g exactly as measured", i+1, e.Predicted)
		}
	}
	if x.Session != "s1" || x.Pickup != "P3" {
		t.Errorf("explained %q, %q", x.Pickup, x.Session)
	}
}

// TestEffectsHaveWords fails when the model gets an effect that no explanation
// shows: a pickup's strings share pickup, batch, jig and recorder, so these are no causes.
func TestEffectsHaveWords(t *testing.T) {
	for _, e := range curve.Effects {
		c, ok := effectCauses[e.Name]
		shared := e.Name == "pickup" || e.Name == "batch" || e.Name == "jig" || e.Name == "recorder"
		if ok == shared || ok && (c.Name == "" || c.Words == "") {
			t.Errorf("effect %q: cause %+v", e.Name, c)
		}
	}
}

func TestExplainRefuses(t *testing.T) {
	d := celltest.Sample(t)
	f := drawnModel(rand.New(rand.NewPCG(13, 14)))
	base, err := fit.OfKind(context.Background(), d, "loglinear-height")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, want string
		err        func() error
	}{
		{"a baseline", "expected a falloff model", func() error { _, err := ExplainSetup(base, &bench, make([]float64, 6)); return err }},
		{"a baseline, measured", "expected a falloff model", func() error { _, err := ExplainPickup(base, d, "T-001", ""); return err }},
		{"heights", "expected 6, one a string, got 2", func() error { _, err := ExplainSetup(f, &bench, []float64{1, 2}); return err }},
		{"a pickup that is not there", `no good take of pickup "Z"`, func() error { _, err := ExplainPickup(f, d, "Z", ""); return err }},
		{"a session that is not there", `in session "Z"; its sessions: `, func() error { _, err := ExplainPickup(f, d, d.Pickups()[0], "Z"); return err }},
	} {
		if err := c.err(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %q", c.name, err, c.want)
		}
	}
}

// TestLatestSession: a pickup measured twice is explained as it was last.
func TestLatestSession(t *testing.T) {
	d := celltest.Sample(t)
	f := drawnModel(rand.New(rand.NewPCG(15, 16)))
	for _, p := range d.Pickups() {
		last := cell.Cell{Mounting: &cell.Mounting{}}
		for _, c := range d.Cells {
			if c.Pickup == p && (last.Session == "" || last.First.Before(c.First)) {
				last = c
			}
		}
		if got, err := sessionOf(f, d, p, ""); err != nil || got != last.Session {
			t.Errorf("%s: session %q, %v, want %q", p, got, err, last.Session)
		}
	}
}

func TestParted(t *testing.T) {
	x := &Explanation{
		Causes: []curve.Cause{{Name: "core", Words: "steel"}, {Name: "wrap", Words: "more steel"}, {Name: "pitch", Words: "speed"}},
		Strings: []ExplainedString{
			{Parts: map[string]float64{"core": 0.004, "wrap": 0, "pitch": -0.0049}},
			{Parts: map[string]float64{"core": -0.006, "wrap": 0, "pitch": 0.0049}},
		},
	}
	with, without := x.Parted()
	if len(with) != 1 || with[0].Name != "core" || CauseWords(without) != "more steel; speed" {
		t.Errorf("with %v, without %v", with, without)
	}
}
