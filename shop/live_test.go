package shop

import (
	"math"
	"testing"

	"evenpole/capture/record"
)

// Levels against figures worked out by hand: 10, 10 and 20 mV on string 1, 20 mV on
// string 2, whose flagged take does not count.
func TestLevels(t *testing.T) {
	row := func(n int, mv float64, status record.Status) record.Reading {
		return record.Reading{String: n, Core: 0.4, Gauge: 0.4, PoleHeight: 1, StringHeight: 3, RMS: mv, Peak: math.NaN(), Quiet: math.NaN(), Freq: math.NaN(), Status: status}
	}
	got, err := Levels([]record.Reading{row(1, 10, ""), row(1, 10, ""), row(1, 20, ""), row(2, 20, ""), row(2, 90, record.Clipped)})
	if err != nil || len(got) != 2 {
		t.Fatal(got, err)
	}
	twice := 20 * math.Log10(2) // dB
	sd := twice / math.Sqrt(3)
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"level 1", float64(got[0].Level), 10 * math.Cbrt(2)},
		{"level 2", float64(got[1].Level), 20},
		{"scatter 1", float64(got[0].Scatter), sd},
		{"interval 1", float64(got[0].Within), 4.302653 * sd / math.Sqrt(3)}, // Student's t, 2 degrees of freedom
		{"balance 1", float64(got[0].Balance), -twice / 3},
		{"balance 2", float64(got[1].Balance), twice / 3},
	} {
		if math.Abs(c.got-c.want) > 1e-5 {
			t.Errorf("%s: %g, want %g", c.name, c.got, c.want)
		}
	}
	if got[1].Within.Known() || got[0].Takes != 3 || got[1].Takes != 1 {
		t.Errorf("%+v", got)
	}
}
