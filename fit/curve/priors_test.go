package curve

import (
	"math"
	"testing"

	"evenpole/fit/field"
	"evenpole/fit/level"
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
	ratio := fall(RefGap-aside) / fall(RefGap+aside)
	return fall(RefGap), 2*aside/(ratio-1) - (RefGap - aside)
}

// TestFalloffPriorIsTheField: the prior of slope and bend is what the exact
// field of rods gives for the two kinds of steel that there can be.
func TestFalloffPriorIsTheField(t *testing.T) {
	for _, diameter := range []float64{4, 4.7625, 6} {
		rod := field.Rod{Radius: diameter / 2, Length: 16.51, Remanence: 1}
		linear, bend := rodFalloff(rod, 1)
		saturated, bendToo := rodFalloff(rod, 0)
		t.Logf("rod of %.2f mm: falls by %.2f and %.2f dB/mm, bends with %.2f and %.2f mm", diameter, level.PerLn*linear, level.PerLn*saturated, bend, bendToo)
		p := FixedPriors[Slope]
		if math.Abs(math.Log(linear)-p.Mean) > 2*p.SD || math.Abs(math.Log(saturated)-p.Mean) > 2*p.SD {
			t.Errorf("rod of %.2f mm: slopes %.3f and %.3f beyond two deviations of the prior %.3f", diameter, linear, saturated, math.Exp(p.Mean))
		}
		for _, b := range []float64{bend, bendToo} {
			if p := FixedPriors[Bend]; math.Abs(math.Log(b)-p.Mean) > p.SD {
				t.Errorf("rod of %.2f mm: bend %.2f mm beyond the prior %.2f", diameter, b, math.Exp(p.Mean))
			}
		}
		if diameter == 4.7625 && (math.Abs(math.Log(linear*saturated)/2-p.Mean) > 0.02 || math.Abs(math.Log(bend)-FixedPriors[Bend].Mean) > 0.05) {
			t.Errorf("the usual rod: slope %.3f, bend %.2f mm; priors are centred on %.3f and %.2f", math.Sqrt(linear*saturated), bend, math.Exp(p.Mean), math.Exp(FixedPriors[Bend].Mean))
		}
	}
}

// TestUnknownWrapMayBeAny: the 95 % interval of a wound string's level under a wrap that
// the handbook does not know takes in that under every wrap that it knows.
func TestUnknownWrapMayBeAny(t *testing.T) {
	c := Curve{}
	th := make([]float64, FixedParameters)
	for i, p := range FixedPriors {
		th[i] = p.Mean
	}
	for _, s := range []Site{{Core: 0.33, Gauge: 0.66}, {Core: 0.41, Gauge: 0.91}, {Core: 0.46, Gauge: 1.17}} {
		area := func(wrap profiles.Wrap, off float64) float64 {
			c.Wraps = []profiles.Wrap{wrap}
			s.Wrap = wrap
			return c.LogArea(append(th[:FixedParameters:FixedParameters], WrapPrior(wrap).Mean+off), &s)
		}
		unknown := profiles.Wrap("xyzzy")
		sd := (area(unknown, 1e-4) - area(unknown, -1e-4)) / 2e-4 * WrapPrior(unknown).SD
		for _, w := range profiles.Wraps() {
			if w == profiles.Plain {
				continue
			}
			if off := area(w, 0) - area(unknown, 0); math.Abs(off) > 1.96*sd {
				t.Errorf("%.2f mm wound with %s lies %+.2f from an unknown wrap in ln A, and its standard deviation is %.2f", s.Gauge, w, off, sd)
			}
		}
	}
}
