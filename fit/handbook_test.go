package fit

import (
	"math"
	"testing"

	"evenpole/fit/field"
	"evenpole/profiles"
)

// rodFalloff is how the output of a long string falls with its gap to a rod:
// the fall of ln v in 1/mm at the reference gap, and the bend o in mm for which a
// fall as 1/(gap + o) goes through those 2 mm to either side.
//
// By reciprocity, what a coil round the rod sees of a piece of the string is in
// proportion to the string's polarisation there and to the field B of the rod
// itself; polarisation grows as B^power, 1 for steel in proportion to the field
// and 0 for saturated steel. The voltage follows the change of their integral
// along the string with height.
func rodFalloff(rod field.Rod, power float64) (slope, bend float64) {
	row := field.Row{{Rod: rod}}
	flux := func(z float64) (sum float64) {
		const step, end = 0.1, 40 // mm
		for y := 0.0; y < end; y += step {
			_, along, up := row.At(0, y, z)
			sum += math.Pow(math.Hypot(along, up), 1+power)
		}
		return sum
	}
	const h = 0.05 // mm
	level := func(z float64) float64 { return math.Log(flux(z-h) - flux(z+h)) }
	fall := func(z float64) float64 { return (level(z-2*h) - level(z+2*h)) / (4 * h) }
	const aside = 2 // mm
	ratio := fall(refGap-aside) / fall(refGap+aside)
	return fall(refGap), 2*aside/(ratio-1) - (refGap - aside)
}

// TestFalloffPriorIsTheField: the prior of slope and bend is what the exact
// field of rods gives for the two kinds of steel that there can be.
func TestFalloffPriorIsTheField(t *testing.T) {
	for _, diameter := range []float64{4, 4.7625, 6} {
		rod := field.Rod{Radius: diameter / 2, Length: 16.51, Remanence: 1}
		linear, bend := rodFalloff(rod, 1)
		saturated, bendToo := rodFalloff(rod, 0)
		t.Logf("rod of %.2f mm: falls by %.2f and %.2f dB/mm, bends with %.2f and %.2f mm", diameter, dB*linear, dB*saturated, bend, bendToo)
		p := falloffPriors[pSlope]
		if math.Abs(math.Log(linear)-p.Mean) > 2*p.SD || math.Abs(math.Log(saturated)-p.Mean) > 2*p.SD {
			t.Errorf("rod of %.2f mm: slopes %.3f and %.3f beyond two deviations of the prior %.3f", diameter, linear, saturated, math.Exp(p.Mean))
		}
		for _, b := range []float64{bend, bendToo} {
			if p := falloffPriors[pBend]; math.Abs(math.Log(b)-p.Mean) > p.SD {
				t.Errorf("rod of %.2f mm: bend %.2f mm beyond the prior %.2f", diameter, b, math.Exp(p.Mean))
			}
		}
		if diameter == 4.7625 && (math.Abs(math.Log(linear*saturated)/2-p.Mean) > 0.02 || math.Abs(math.Log(bend)-falloffPriors[pBend].Mean) > 0.05) {
			t.Errorf("the usual rod: slope %.3f, bend %.2f mm; priors are centred on %.3f and %.2f", math.Sqrt(linear*saturated), bend, math.Exp(p.Mean), math.Exp(falloffPriors[pBend].Mean))
		}
	}
}

// TestPriorHoldsRealShop: what a record that no part of this program made says
// of each parameter lies where the handbook expects it.
func TestPriorHoldsRealShop(t *testing.T) {
	m, err := Unjudged(gather(t, readRecord(t, "readings.csv")), falloffKind.Name)
	if err != nil {
		t.Fatal(err)
	}
	f := m.(*falloff)
	for j, p := range f.priors() {
		if z := math.Abs(f.Theta[j]-p.Mean) / p.SD; z > 2.5 {
			t.Errorf("%s: %.3f, %.1f deviations from its prior", f.names()[j], f.Theta[j], z)
		}
	}
}

// TestHandbookPlans: a shop without data gets finite levels, errors larger than
// those of a shop with data, and is told.
func TestHandbookPlans(t *testing.T) {
	h := Handbook(Travel)
	s := &Setup{Strings: steels, StringHeights: []float64{3, 3.4, 3.6, 3.7, 3.6, 3.4}, Spacing: 10.2}
	heights := []float64{0.5, 1, 1.5, 1.5, 1, 0.5}
	fitted, err := Unjudged(gather(t, readRecord(t, "readings.csv")), falloffKind.Name)
	if err != nil {
		t.Fatal(err)
	}
	far, near := h.Uncertainty(s, heights), fitted.Uncertainty(s, heights)
	for i, v := range h.Level(nil, s, heights) {
		if !finite(v) || !(balanceVariance(far, i) > balanceVariance(near, i)) {
			t.Errorf("string %d: level %g, variance %g by the handbook and %g with data", i+1, v, balanceVariance(far, i), balanceVariance(near, i))
		}
	}
	if h.Source() != "handbook prior" || len(h.Warnings(s, heights)) != 2 {
		t.Errorf("source %q, warnings %q", h.Source(), h.Warnings(s, heights))
	}
	quiet := *s
	quiet.Excite = Force
	if w := h.Warnings(&quiet, heights); len(w) != 2 {
		t.Errorf("an order that says how it is played: warnings %q", w)
	}
}

// TestBeyondTheRangeErrorsGrow: a prediction is less sure outside of what was
// measured, and a guessed core less sure than a measured one.
func TestBeyondTheRangeErrorsGrow(t *testing.T) {
	fitted, err := Unjudged(gather(t, readRecord(t, "readings.csv")), falloffKind.Name)
	if err != nil {
		t.Fatal(err)
	}
	one := func(core float64, gap, height float64, guessed bool) float64 {
		s := &Setup{Strings: []profiles.String{{Note: "G3", Gauge: core, Core: core, Wrap: plainWrap, CoreEstimated: guessed}},
			StringHeights: []float64{gap + height}, Spacing: 10.2}
		f := fitted.(*falloff)
		return f.own(s, 0, f.site(s, 0, []float64{height}))
	}
	inside := one(0.35, 3, 1, false)
	for name, v := range map[string]float64{"gap": one(0.35, 8, 1, false), "height": one(0.35, 3, 5, false), "core": one(0.8, 3, 1, false), "guess": one(0.35, 3, 1, true)} {
		if !(v > inside*1.05) {
			t.Errorf("%s: variance %.5f, inside %.5f", name, v, inside)
		}
	}
}
