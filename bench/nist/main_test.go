package main

import (
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/num/dual"
)

var dataFolder = filepath.Join("..", "..", "testdata", "published", "nist")

// TestSolverReachesCertifiedDigits holds the solver to at least six certified
// digits on every set from both starts. Source: NIST/ITL, Statistical Reference
// Datasets, nonlinear regression (1999-2003).
func TestSolverReachesCertifiedDigits(t *testing.T) {
	sets, err := readSets(dataFolder)
	if err != nil {
		t.Fatal(err)
	}
	if len(sets) < 18 {
		t.Fatalf("only %d sets", len(sets))
	}
	for _, s := range sets {
		for start := 1; start <= 2; start++ {
			r, err := s.try(dataFolder, start)
			if err != nil {
				t.Fatalf("%s: %v", s.name, err)
			}
			if r.estimate < 6 {
				t.Errorf("%s from start %d: %.1f digits", s.name, start, r.estimate)
			}
		}
	}
}

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
