package fit

import (
	"context"
	"math"
	"slices"
	"testing"

	"evenpole/fit/cell/celltest"
	"evenpole/fit/curve"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/mat"
)

// sampleModes fits the sample record and finds its effects again.
func sampleModes(t *testing.T) *CellEffects {
	t.Helper()
	d := celltest.Sample(t)
	f, err := fitFalloff(context.Background(), d, nil)
	if err != nil {
		t.Fatal(err)
	}
	m, err := f.EffectsOf(d.Cells, nil)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// TestModesAreFitted: the fit's own modes come back at the fit's parameters.
func TestModesAreFitted(t *testing.T) {
	m := sampleModes(t)
	f := m.Model
	for _, k := range []int{curve.StringEffect, curve.SlotEffect} {
		for i := range m.Cells {
			key := curve.Effects[k].Key(&m.Cells[i])
			if d := m.Value(k, i) - f.Offsets[key]; math.Abs(d) > 2e-3 {
				t.Errorf("%s: %.5f, by the fit %.5f", key, m.Value(k, i), f.Offsets[key])
			}
		}
	}
	for i, r := range m.Residuals() {
		if want := m.fit.Residual[i]; math.Abs(r-want) > 1e-4 {
			t.Errorf("cell %d: residual %.6f, by the mixed model %.6f", i, r, want)
		}
	}
}

// TestPosterior compares standard deviations of effects with the plain inverse
// of the whole system.
func TestPosterior(t *testing.T) {
	m := sampleModes(t)
	f := m.Model
	p, err := m.Posterior()
	if err != nil {
		t.Fatal(err)
	}
	want := plainInverse(t, m)
	at := f.Size()
	for k, e := range curve.Effects {
		sds := p.SDs(k)
		for l, sd := range sds {
			if w := math.Sqrt(want.At(at, at)); math.Abs(sd-w) > 1e-6*w {
				t.Errorf("%s %d: %.8f, by the plain inverse %.8f", e.Name, l, sd, w)
			}
			at++
		}
	}
}

// levelsIn is how many levels a term has.
func levelsIn(t solve.Term) int {
	if t.Level == nil {
		return 0
	}
	return int(slices.Max(t.Level)) + 1
}

// plainInverse is the covariance of the parameters and then of all effects,
// from the normal equations without elimination.
func plainInverse(t *testing.T, m *CellEffects) *mat.SymDense {
	t.Helper()
	f, p := m.Model, m.Model.Size()
	n := p
	var first []int
	for _, term := range m.mixed.Terms {
		first = append(first, n)
		n += levelsIn(term)
	}
	a := mat.NewSymDense(n, nil)
	for j, prior := range m.mixed.Prior {
		a.SetSym(j, j, 1/(prior.SD*prior.SD))
	}
	for k, at := range first {
		for l := range levelsIn(m.mixed.Terms[k]) {
			a.SetSym(at+l, at+l, 1/(f.SDs[k+1]*f.SDs[k+1]))
		}
	}
	for i := range m.Cells {
		row, gradient := mat.NewVecDense(n, nil), make([]float64, p)
		_, slope := m.mixed.Given.Row(i, gradient)
		for j := range p {
			row.SetVec(j, gradient[j])
		}
		for k, term := range m.mixed.Terms {
			z := 1.0
			if term.Varies {
				z = slope
			}
			if l := term.Level.At(i); l >= 0 {
				row.SetVec(first[k]+l, z)
			}
		}
		a.SymRankOne(a, m.mixed.Weight[i]/(f.SDs[0]*f.SDs[0]+m.mixed.Known[i]), row)
	}
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		t.Fatal("the plain system is singular")
	}
	inv := mat.NewSymDense(n, nil)
	if err := chol.InverseTo(inv); err != nil {
		t.Fatal(err)
	}
	return inv
}
