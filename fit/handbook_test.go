package fit

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
	"evenpole/fit/curve"
	"evenpole/fit/curve/curvetest"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// TestPriorHoldsRealShops: what records that no part of this program made, of steel of two
// kinds, say of each parameter lies where the handbook expects it: within 1.25 standard
// deviations, which a normal distribution holds in four cases of five.
func TestPriorHoldsRealShops(t *testing.T) {
	for name, d := range map[string]*cell.Data{"one": celltest.Sample(t), "other": celltest.File(t, "sample-shop-2", "readings.csv")} {
		m, err := OfKind(context.Background(), d, falloffKind.name)
		if err != nil {
			t.Fatal(err)
		}
		f := m.(*Falloff)
		for j, p := range f.Priors() {
			if z := math.Abs(f.Theta[j]-p.Mean) / p.SD; z > 1.25 {
				t.Errorf("%s: %s: %.3f, %.1f deviations from its prior", name, f.Names()[j], f.Theta[j], z)
			}
		}
	}
}

// TestWoundStringsFallFaster: in a shop whose thin cores saturate, wound strings fall faster
// with the gap than plain ones, and a raised pole answers less.
func TestWoundStringsFallFaster(t *testing.T) {
	m, err := OfKind(context.Background(), celltest.File(t, "sample-shop-2", "readings.csv"), falloffName)
	if err != nil {
		t.Fatal(err)
	}
	for name, sign := range map[string]float64{"wound_slope": 1, "protrusion": -1} {
		if p := parameter(t, m, name); sign*p.Value < 3*p.SE {
			t.Errorf("%s = %.3f +- %.3f", name, p.Value, p.SE)
		}
	}
}

// TestHandbookPlans: a shop without data gets finite levels, errors larger than
// those of a shop with data, and is told.
func TestHandbookPlans(t *testing.T) {
	h := Handbook(profiles.Travel)
	s := &Setup{Strings: curvetest.Steels, StringHeights: []float64{3, 3.4, 3.6, 3.7, 3.6, 3.4}, Spacing: 10.2}
	heights := []float64{0.5, 1, 1.5, 1.5, 1, 0.5}
	fitted, err := OfKind(context.Background(), celltest.Sample(t), falloffKind.name)
	if err != nil {
		t.Fatal(err)
	}
	far, near := h.Uncertainty(s, heights), fitted.Uncertainty(s, heights)
	for i, v := range h.Level(nil, s, heights) {
		if !solve.Finite(v) || !(curvetest.BalanceVariance(far, i) > curvetest.BalanceVariance(near, i)) {
			t.Errorf("string %d: level %g, variance %g by the handbook and %g with data", i+1, v, curvetest.BalanceVariance(far, i), curvetest.BalanceVariance(near, i))
		}
	}
	if h.Source() != "handbook prior" || len(h.Warnings(s, heights)) != 2 {
		t.Errorf("source %q, warnings %q", h.Source(), h.Warnings(s, heights))
	}
	quiet := *s
	quiet.Excite = profiles.Force
	if w := h.Warnings(&quiet, heights); len(w) != 1 || !strings.Contains(w[0], "nothing was measured yet") {
		t.Errorf("an order that says how it is played: warnings %q", w)
	}
	if w := strings.Join(fitted.Warnings(&quiet, heights), "\n"); !strings.Contains(w, `measured by "travel", converted to "force"`) {
		t.Errorf("with data: warnings %q", w)
	}
}

// TestBeyondTheRangeErrorsGrow: a prediction is less sure outside of what was
// measured, and a guessed core less sure than a measured one.
func TestBeyondTheRangeErrorsGrow(t *testing.T) {
	fitted, err := OfKind(context.Background(), celltest.Sample(t), falloffKind.name)
	if err != nil {
		t.Fatal(err)
	}
	one := func(core float64, gap, height float64, guessed bool) float64 {
		s := &Setup{Strings: []profiles.String{{Note: "G3", Gauge: core, Core: core, Wrap: profiles.Plain, CoreEstimated: guessed}},
			StringHeights: []float64{gap + height}, Spacing: 10.2}
		f := fitted.(*Falloff)
		return f.stringVariance(s, 0, f.Site(s, 0, []float64{height}))
	}
	inside := one(0.35, 3, 1, false)
	for name, v := range map[string]float64{"gap": one(0.35, 8, 1, false), "height": one(0.35, 3, 5, false), "core": one(0.8, 3, 1, false), "guess": one(0.35, 3, 1, true)} {
		if !(v > inside*1.05) {
			t.Errorf("%s: variance %.5f, inside %.5f", name, v, inside)
		}
	}
}

// TestGuessedCoreByDifferences: what a guessed core adds to a string's variance is the
// slope of its level by the logarithm of the core, from small differences, times the
// standard deviation of the guess; near the pole and far from it, however it is played.
func TestGuessedCoreByDifferences(t *testing.T) {
	for _, excite := range []profiles.Excitation{profiles.Travel, profiles.Force} {
		f := Handbook(excite).(*Falloff)
		for _, str := range []profiles.String{
			{Note: "D3", Gauge: 0.66, Core: 0.36, Wrap: profiles.NickelPlatedSteel},
			{Note: "E2", Gauge: 1.17, Core: 0.46, Wrap: profiles.Nickel},
			{Note: "E1", Gauge: 2.67, Core: 1.1, Wrap: profiles.Stainless},
		} {
			for _, gap := range []float64{1.2, 2.5, 5} {
				heights := []float64{1}
				setup := func(core float64, guessed bool) *Setup {
					s := str
					s.Core, s.CoreEstimated = core, guessed
					return &Setup{Strings: []profiles.String{s}, StringHeights: []float64{gap + heights[0]}, Spacing: 10.2}
				}
				const h = 1e-4
				above := f.Level(nil, setup(str.Core*math.Exp(h), false), heights)[0]
				below := f.Level(nil, setup(str.Core*math.Exp(-h), false), heights)[0]
				want := solve.Square((above - below) / (2 * h) * guessedCoreSD)
				got := f.Uncertainty(setup(str.Core, true), heights).At(0, 0) - f.Uncertainty(setup(str.Core, false), heights).At(0, 0)
				if math.Abs(math.Sqrt(got)-math.Sqrt(want)) > 0.02*math.Sqrt(want) {
					t.Errorf("%s, %s, gap %g mm: a guessed core adds %.5f, by differences %.5f", excite, str.Note, gap, math.Sqrt(got), math.Sqrt(want))
				}
			}
		}
	}
}

// TestUnmeasuredWrapIsAParameterAtItsPrior: strings of a wrap that the model has no
// parameter for are as uncertain as by one that only its prior tells of.
func TestUnmeasuredWrapIsAParameterAtItsPrior(t *testing.T) {
	f := Handbook(profiles.Travel).(*Falloff)
	s := &Setup{StringHeights: []float64{2.2, 4, 6}, Spacing: 10.2, Strings: []profiles.String{
		{Note: "G3", Gauge: 0.43, Core: 0.43, Wrap: profiles.Plain},
		{Note: "D3", Gauge: 0.66, Core: 0.36, Wrap: profiles.Stainless},
		{Note: "E2", Gauge: 1.17, Core: 0.46, Wrap: profiles.Stainless},
	}}
	heights := []float64{1, 1, 1}
	with := *f
	prior := curve.WrapPrior(profiles.Stainless)
	with.Wraps = []profiles.Wrap{profiles.Stainless}
	with.Theta = append(slices.Clone(f.Theta), prior.Mean)
	with.Cov = nil
	for _, row := range f.Cov {
		with.Cov = append(with.Cov, append(slices.Clone(row), 0))
	}
	with.Cov = append(with.Cov, append(make([]float64, f.Size()), solve.Square(prior.SD)))
	got, want := f.Uncertainty(s, heights), with.Uncertainty(s, heights)
	if !mat.EqualApprox(got, want, 1e-12) {
		t.Errorf("got\n%.6f\nwant\n%.6f", mat.Formatted(got), mat.Formatted(want))
	}
}

// TestModelSaysWhatItKnows: what others ask of a model by method is what its list
// of parameters says under its name.
func TestModelSaysWhatItKnows(t *testing.T) {
	m, err := OfKind(context.Background(), celltest.Sample(t), falloffName)
	if err != nil {
		t.Fatal(err)
	}
	listed := map[string]Parameter{}
	for _, p := range m.Parameters() {
		listed[p.Name] = p
	}
	b, se, ok := m.FieldExponent()
	if p := listed["field_exponent"]; !ok || b != p.Value || se != p.SE {
		t.Errorf("field exponent: got %g, %g, %v, want %+v", b, se, ok, p)
	}
	for name, of := range map[string]func() (level.Ln, bool){"sd_pole": m.PoleSD, "sd_pickup": m.PickupSD} {
		if sd, ok := of(); !ok || float64(sd) != listed[name].Value || !(sd > 0) {
			t.Errorf("%s: got %g, %v, want %+v", name, sd, ok, listed[name])
		}
	}
	m, err = OfKind(context.Background(), celltest.Sample(t), logHeight.name)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, ok := m.FieldExponent(); ok {
		t.Errorf("the %s model knows a field exponent", m.Kind())
	}
	for _, of := range []func() (level.Ln, bool){m.PoleSD, m.PickupSD} {
		if _, ok := of(); ok {
			t.Errorf("the %s model knows how far poles or pickups differ", m.Kind())
		}
	}
}
