package verify

import (
	"math"
	"slices"
	"testing"

	"evenpole/jig"
)

func TestQuietLevel(t *testing.T) {
	for _, x := range []struct {
		rms, peak, freq int64
		flags           jig.Flags
		mv              float64
		hum             string
	}{
		{300, 430, 0, 0, 0.3, "hum"},
		{300, 1200, 0, 0, 0.3, "noise"},
		{300, 800, 0, 0, 0.3, "cannot tell"},
		{300, 800, 50_020, 0, 0.3, "hum"},  // the jig knows the pitch
		{300, 800, 119_900, 0, 0.3, "hum"}, // a harmonic of 60 Hz
		{300, 1200, 110_000, 0, 0.3, "noise"},
		{300, 430, 0, jig.Fault, 0, "cannot tell"},
		{0, 0, 0, 0, 0, "cannot tell"},
	} {
		r := jig.Reading{RMSUV: x.rms, PeakUV: x.peak, FreqMHz: x.freq, Flags: x.flags}
		if mv, hum := quietLevel([]jig.Reading{r, r, r}); math.Abs(mv-x.mv) > 1e-9 || hum != x.hum {
			t.Errorf("%+v: %.3f mV, %s", x, mv, hum)
		}
	}
}

// TestScatter: the quantiles of chi squared for 3 degrees of freedom, 0.2158 and 9.3484, are
// those of the usual tables.
func TestScatter(t *testing.T) {
	var all []jig.Reading
	for _, uv := range []int64{100_000, 101_000, 99_000, 100_000} {
		all = append(all, jig.Reading{RMSUV: uv}, jig.Reading{RMSUV: 50_000, Flags: jig.DoubleStrike})
	}
	x := Measured{QuietMV: 10, ToleranceDB: 1}
	x.scatter(all)
	// 20 log10 of sqrt(mV^2 - 100) for 100, 101, 99 and 100 mV, worked out by hand.
	const sd = 0.071625
	if x.Takes != 4 || math.Abs(x.ScatterDB-sd) > 2e-4 || math.Abs(x.LevelMV-99.496) > 5e-3 {
		t.Errorf("%+v", x)
	}
	if low, high := x.ScatterDB*math.Sqrt(3/9.3484), x.ScatterDB*math.Sqrt(3/0.2158); math.Abs(x.ScatterLow-low) > 1e-5 || math.Abs(x.ScatterHigh-high) > 1e-4 {
		t.Errorf("%.4f to %.4f dB, want %.4f to %.4f", x.ScatterLow, x.ScatterHigh, low, high)
	}
	if want := int(math.Ceil(math.Pow(2*x.ScatterHigh/0.3, 2))); x.TakesWanted != want || want != 4 {
		t.Errorf("%d takes, want %d", x.TakesWanted, want)
	}
}

func TestOneTakeIsNotPlural(t *testing.T) {
	x := &Measured{Takes: 10, TakesWanted: 1, ToleranceDB: 1}
	const want = "a tolerance of +- 1.00 dB wants 1 take a string, for an uncertainty U of at most 0.30 dB (30 % of it)"
	if got := x.Words(); !slices.Contains(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}
