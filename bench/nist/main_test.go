package main

import (
	"cmp"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/num/dual"
)

var dataFolder = filepath.Join("..", "..", "testdata", "published", "nist")

// TestSolverReachesCertifiedDigits holds the solver to at least six certified
// digits on every set from both starts, to ten where the last steps decide. Source: NIST/ITL, Statistical Reference
// Datasets, nonlinear regression (1999-2003).
func TestSolverReachesCertifiedDigits(t *testing.T) {
	sets, err := readSets(dataFolder)
	if err != nil {
		t.Fatal(err)
	}
	if len(sets) < 19 {
		t.Fatalf("only %d sets", len(sets))
	}
	for _, s := range sets {
		for start := 1; start <= 2; start++ {
			r, err := s.try(dataFolder, start)
			if err != nil {
				t.Fatalf("%s: %v", s.name, err)
			}
			if least := cmp.Or(lastSteps[s.name], 6); r.estimate < least {
				t.Errorf("%s from start %d: %.1f digits", s.name, start, r.estimate)
			}
		}
	}
}

// Without derivatives, a fit that says that it has converged has at least six digits, too.
func TestConvergedWithoutDerivatives(t *testing.T) {
	sets, err := readSets(dataFolder)
	if err != nil {
		t.Fatal(err)
	}
	converged := 0
	for _, s := range sets {
		for start := 1; start <= 2; start++ {
			p, at, err := s.problem(dataFolder, start)
			if err != nil {
				t.Fatalf("%s: %v", s.name, err)
			}
			p.Jacobian = nil
			f, err := p.Solve(at)
			if err != nil {
				t.Fatalf("%s: %v", s.name, err)
			}
			if !f.Converged {
				continue
			}
			converged++
			for i, par := range s.Params {
				if d := lre(f.X[i], par.Estimate); d < 6 {
					t.Errorf("%s from start %d: %s to %.1f digits", s.name, start, par.Name, d)
				}
			}
		}
	}
	if converged < 30 {
		t.Errorf("only %d converged", converged)
	}
}

// lastSteps are the digits of sets that are lost where polishing stops early.
var lastSteps = map[string]float64{"Lanczos2": 10.2, "MGH10": 10.5}

func TestReportListsEverySet(t *testing.T) {
	var out strings.Builder
	if err := run(&out, dataFolder, filepath.Join("testdata", "lre_r_scipy.csv")); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(out.String(), "\n"); n < 38 {
		t.Errorf("only %d lines:\n%s", n, out.String())
	}
}

func TestFormula(t *testing.T) {
	vars := map[string]dual.Number{"x": {Real: 2, Emag: 1}, "b1": {Real: 3}}
	for _, c := range []struct {
		text        string
		value, diff float64
	}{
		{"b1*x^2-x", 10, 11},
		{"-x^2", -4, -4},
		{"2^-x*4", 1, -0.6931471805599453},
		{"(1+x)/b1", 1, 1.0 / 3},
		{"8-2-1", 5, 0},
		{"exp(0*x)+arctan(0)+cos(2*pi*0)", 2, 0},
	} {
		f, err := parseFormula(c.text)
		if err != nil {
			t.Error(err)
			continue
		}
		if v := f(vars); abs(v.Real-c.value) > 1e-14 || abs(v.Emag-c.diff) > 1e-14 {
			t.Errorf("%s = %v, want %v and %v", c.text, v, c.value, c.diff)
		}
	}
	for _, bad := range []string{"", "1+", "exp x", "(1", "1)", "?"} {
		if _, err := parseFormula(bad); err == nil {
			t.Errorf("%q parsed", bad)
		}
	}
}

func abs(x float64) float64 { return max(x, -x) }
