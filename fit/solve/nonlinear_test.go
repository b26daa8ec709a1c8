package solve

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// curveProblem is f(b, x) fitted to what it is at a truth, with a residue of the given
// size that no curve follows; slopes are its derivatives by b.
func curveProblem(n int, from, to, residue float64, truth []float64, f func(b []float64, x float64) float64, slopes func(dst, b []float64, x float64)) *Nonlinear {
	at := func(i int) float64 { return from + (to-from)*float64(i)/float64(n-1) }
	y := make([]float64, n)
	for i := range y {
		y[i] = f(truth, at(i)) + residue*math.Sin(float64(i*i))
	}
	return &Nonlinear{M: n, N: len(truth),
		Residual: func(dst, b []float64) {
			for i := range dst {
				dst[i] = f(b, at(i)) - y[i]
			}
		},
		Jacobian: func(dst *mat.Dense, b []float64) {
			for i := range n {
				slopes(dst.RawRowView(i), b, at(i))
			}
		}}
}

// rational is the certified curve of NIST's Hahn1 (thermal expansion of copper, NIST/ITL,
// Statistical Reference Datasets), with parameters from 1 down to 1e-7.
func rational() *Nonlinear {
	over := func(b []float64, x float64) float64 { return 1 + x*(b[4]+x*(b[5]+x*b[6])) }
	f := func(b []float64, x float64) float64 { return (b[0] + x*(b[1]+x*(b[2]+x*b[3]))) / over(b, x) }
	truth := []float64{1.0776351733, -1.2269296921e-1, 4.0863750610e-3, -1.4262662514e-6, -5.7609940901e-3, 2.4053735503e-4, -1.2314450199e-7}
	return curveProblem(236, 14, 851, 0.11, truth, f, func(dst, b []float64, x float64) {
		v, d := f(b, x), over(b, x)
		for k, power := range []float64{1, x, x * x, x * x * x} {
			dst[k] = power / d
			if k > 0 {
				dst[3+k] = -v * power / d
			}
		}
	})
}

var rationalStarts = [][]float64{{10, -1, 0.05, -0.00001, -0.05, 0.001, -0.000001}, {1, -0.1, 0.005, -0.000001, -0.005, 0.0001, -0.0000001}}

// power is the certified curve of NIST's Bennett5 (superconductivity), whose parameters
// can hardly be told from each other.
func power() *Nonlinear {
	f := func(b []float64, x float64) float64 { return b[0] * math.Pow(b[1]+x, -1/b[2]) }
	return curveProblem(154, 7.447, 17.7, 0.0027, []float64{-2.5235058043e3, 4.6736564644e1, 9.3218483193e-1}, f, func(dst, b []float64, x float64) {
		v := math.Pow(b[1]+x, -1/b[2])
		dst[0], dst[1], dst[2] = v, -b[0]*v/b[2]/(b[1]+x), b[0]*v*math.Log(b[1]+x)/b[2]/b[2]
	})
}

var powerStarts = [][]float64{{-2000, 50, 0.8}, {-1500, 45, 0.85}}

func solved(t *testing.T, p *Nonlinear, start []float64) *NonlinearFit {
	t.Helper()
	f, err := p.Solve(start)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// agreement is the number of digits to which the worst parameters of two fits agree.
func agreement(a, b *NonlinearFit) float64 {
	worst := 16.0
	for i := range a.X {
		worst = min(worst, digits(a.X[i], b.X[i], 0))
	}
	return worst
}

// From both starts the search ends at the same place, to the last digits.
func TestBothStartsEndAtOnePlace(t *testing.T) {
	for name, c := range map[string]struct {
		p      *Nonlinear
		starts [][]float64
	}{"rational": {rational(), rationalStarts}, "power": {power(), powerStarts}} {
		a, b := solved(t, c.p, c.starts[0]), solved(t, c.p, c.starts[1])
		if d := agreement(a, b); d < 12 || !a.Converged || !b.Converged {
			t.Errorf("%s: %.1f digits, converged %v, %v", name, d, a.Converged, b.Converged)
		}
	}
}

// Differences are as good as derivatives to eight digits, for parameters of any size.
func TestDifferencesTellTheEnd(t *testing.T) {
	for name, c := range map[string]struct {
		p      *Nonlinear
		starts [][]float64
	}{"rational": {rational(), rationalStarts}, "power": {power(), powerStarts}} {
		want := solved(t, c.p, c.starts[0])
		c.p.Jacobian = nil
		for _, start := range c.starts {
			f := solved(t, c.p, start)
			if d := agreement(f, want); d < 8 || !f.Converged {
				t.Errorf("%s from %g: %.1f digits, converged %v", name, start, d, f.Converged)
			}
		}
	}
}

// Residuals of few digits do not tell by differences where the end is: that is said.
func TestCoarseResidualsDoNotConverge(t *testing.T) {
	p := rational()
	exact := p.Residual
	p.Jacobian = nil
	p.Residual = func(dst, b []float64) {
		exact(dst, b)
		for i := range dst {
			dst[i] = math.Round(dst[i]*1e5) / 1e5
		}
	}
	if f := solved(t, p, rationalStarts[1]); f.Converged {
		t.Errorf("converged to %g", f.X)
	}
}
