package batch

import (
	"math"
	"math/rand/v2"
	"testing"
)

// NIST/SEMATECH e-Handbook, section 1.3.5.17.1: G = 2.4687 (truncated; 2.46876
// recomputed) for the eighth value; two-sided critical value 2.1266.
func TestGrubbsUranium(t *testing.T) {
	var x []float64
	for _, row := range records(t, "testdata/grubbs_uranium.csv") {
		x = append(x, number(t, row[0]))
	}
	steps, found := esd(x, 1, 0.05)
	if len(steps) != 1 || found != 1 || steps[0].index != 7 {
		t.Fatalf("got %+v, %d outliers, want the eighth value", steps, found)
	}
	near(t, "G", steps[0].statistic, 2.468764611, 1e-9)
	near(t, "critical", steps[0].critical, 2.126645087, 1e-8)
}

// rosner are the 54 values of Rosner's paper as the NIST/SEMATECH e-Handbook,
// section 1.3.5.17.3, gives them (from memory; that all the printed figures below
// come out confirms it).
var rosner = []float64{
	-0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58, 1.65, 1.69, 1.70,
	1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40,
	2.47, 2.54, 2.62, 2.64, 2.90, 2.92, 2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
}

// cut drops all but three decimals, as the handbook does.
func cut(x float64) float64 { return math.Floor(x*1000) / 1000 }

// The handbook's table: the first two steps do not stand out, the third does, and
// so three are outliers.
func TestESDRosner(t *testing.T) {
	steps, found := esd(rosner, 10, 0.05)
	if found != 3 {
		t.Errorf("got %d outliers, want 3", found)
	}
	for i, want := range [][2]float64{{3.118, 3.158}, {2.942, 3.151}, {3.179, 3.143}, {2.810, 3.136}} {
		if r, l := cut(steps[i].statistic), cut(steps[i].critical); r != want[0] || l != want[1] {
			t.Errorf("step %d: got R %.3f and lambda %.3f, want %v", i+1, r, l, want)
		}
	}
}

func TestESDFalseAlarms(t *testing.T) {
	const trials = 4000
	r := rand.New(rand.NewPCG(3, 4))
	one, several := 0, 0
	for range trials {
		x := normals(r, 30, 5, 2)
		if _, found := esd(x, 1, 0.05); found > 0 {
			one++
		}
		if _, found := esd(x, 3, 0.05); found > 0 {
			several++
		}
	}
	covers(t, "Grubbs", one, trials, 0.05)
	if several > trials*7/100 {
		t.Errorf("ESD: %d false alarms in %d, want about 0.05 of them", several, trials)
	}
}

func TestESDWithoutScatter(t *testing.T) {
	for _, x := range [][]float64{{1, 1, 1, 1}, {1, 2}, {}} {
		if steps, found := esd(x, 2, 0.05); len(steps) != 0 || found != 0 {
			t.Errorf("%v: got %v, %d", x, steps, found)
		}
	}
}
