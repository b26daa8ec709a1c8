package profiles

import (
	"math"
	"testing"
)

func TestNoNegativeZero(t *testing.T) {
	for _, tt := range []struct {
		format string
		x      float64
		want   string
	}{
		{"%+.1f", -0.04, "+0.0"}, {"%.2f", -0.004, "0.00"}, {"%6.1f|", -0.04, "   0.0|"}, {"%+.0f %%", -0.4, "+0 %"},
		{"%+.1f", -0.06, "-0.1"}, {"%+.1f", 0.04, "+0.0"}, {"%g", math.Copysign(0, -1), "0"}, {"%v", -0.5, "-0.5"},
		{"%.3g", -1e-9, "-1e-09"}, {"%.1f", math.NaN(), "NaN"},
	} {
		if got := Sprintf(tt.format, tt.x); got != tt.want {
			t.Errorf("%v by %q is %q, want %q", tt.x, tt.format, got, tt.want)
		}
	}
	for _, tt := range []struct {
		x        float64
		decimals int
		want     string
	}{{-0.004, 2, "0"}, {-0.006, 2, "-0.01"}, {1.5, 4, "1.5"}, {0.125, 2, "0.13"}, {-2, 2, "-2"}, {1e7, 2, "10000000"}, {-0.00004, 4, "0"}} {
		if got := Shortest(tt.x, tt.decimals); got != tt.want {
			t.Errorf("%v to %d decimals is %q, want %q", tt.x, tt.decimals, got, tt.want)
		}
	}
	if got, want := Inches.Text("moved by -0.01 mm"), "moved by 0.000 in (-0.01 mm)"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
