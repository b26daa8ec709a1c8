package screen

import (
	"math"
	"testing"

	"evenpole/fit/cell/celltest"

	"gonum.org/v1/gonum/mat"
)

// normal returns the log determinant and the quadratic form of cells' levels,
// by one dense covariance of all unknowns.
func (j *levelModel) normal(cells []int) (logdet, form float64) {
	n := len(cells)
	a := mat.NewDense(n, len(j.mean), nil)
	miss := mat.NewVecDense(n, nil)
	prior := mat.NewDiagDense(len(j.mean), nil)
	start := make([]float64, len(j.mean))
	for k, sd := range j.sd {
		if k >= len(j.theta) {
			sd *= j.scale
		} else {
			start[k] = j.mean[k] - j.theta[k]
		}
		prior.SetDiag(k, sd*sd)
	}
	for x, i := range cells {
		a.SetRow(x, j.rows[i].gradient)
		miss.SetVec(x, j.rows[i].residual-inner(j.rows[i].gradient, start))
	}
	var half, full mat.Dense
	half.Mul(a, prior)
	full.Mul(&half, a.T())
	v := mat.NewSymDense(n, nil)
	for x, i := range cells {
		for y, k := range cells[x:] {
			v.SetSym(x, x+y, full.At(x, x+y)+j.localCovariance(&j.rows[i], &j.rows[k]))
		}
		v.SetSym(x, x, v.At(x, x)+j.rows[i].noise/j.weight[i])
	}
	var chol mat.Cholesky
	chol.Factorize(v)
	var w mat.VecDense
	if err := chol.SolveVecTo(&w, miss); err != nil {
		panic(err)
	}
	return chol.LogDet(), mat.Dot(&w, miss)
}

// A second, slow way to the likelihood of a pickup's levels given the others':
// that of all over that of the others, each with its dense covariance.
func TestConditionalAgreesWithDenseCovariances(t *testing.T) {
	d := celltest.File(t, "sample-shop", "readings.csv")
	j := newLevelModel(d.Cells, make([]bool, len(d.Cells)), make([]float64, len(d.Cells)))
	var all, rest []int
	for i := range d.Cells {
		all = append(all, i)
		if d.Cells[i].Pickup != "P2" {
			rest = append(rest, i)
		}
	}
	tr := j.conditional([]string{"P2"}, nil)
	var chol mat.Cholesky
	if !chol.Factorize(tr.cov) {
		t.Fatal("covariance is not one")
	}
	var w mat.VecDense
	miss := mat.NewVecDense(len(tr.residual), tr.residual)
	if err := chol.SolveVecTo(&w, miss); err != nil {
		t.Fatal(err)
	}
	logAll, squareAll := j.normal(all)
	logRest, squareRest := j.normal(rest)
	if got, want := chol.LogDet(), logAll-logRest; math.Abs(got-want) > 1e-6*math.Abs(want) {
		t.Errorf("log determinant: got %.9g, want %.9g", got, want)
	}
	if got, want := mat.Dot(&w, miss), squareAll-squareRest; math.Abs(got-want) > 1e-5*want {
		t.Errorf("quadratic form: got %.9g, want %.9g", got, want)
	}
}

// The slope and the evidence for it, by the textbook's formulas for one
// coefficient: generalised least squares, and the densities of what it leaves
// when the coefficient scatters by sd and by sd0.
func TestSlopeAgreesWithDensities(t *testing.T) {
	d := celltest.File(t, "sample-shop", "readings.csv")
	j := newLevelModel(d.Cells, make([]bool, len(d.Cells)), make([]float64, len(d.Cells)))
	tr := j.conditional([]string{"P1"}, nil)
	along := map[int]float64{}
	for x, i := range tr.cells[:6] {
		along[i] = float64(x)/5 - 0.5
	}
	const own, ownVar, sd, sd0 = 0.1, 0.006, 0.15, 0.02
	density := func(sd float64) float64 {
		n := len(tr.cells)
		v := mat.NewSymDense(n+1, nil)
		y := mat.NewVecDense(n+1, append(append([]float64(nil), tr.residual...), own))
		z := make([]float64, n+1)
		z[n] = 1
		for x, i := range tr.cells {
			z[x] = along[i]
			for k := x; k < n; k++ {
				v.SetSym(x, k, tr.cov.At(x, k))
			}
		}
		v.SetSym(n, n, ownVar)
		v.SymRankOne(v, sd*sd, mat.NewVecDense(n+1, z))
		var chol mat.Cholesky
		chol.Factorize(v)
		var w mat.VecDense
		if err := chol.SolveVecTo(&w, y); err != nil {
			t.Fatal(err)
		}
		return -chol.LogDet()/2 - mat.Dot(&w, y)/2
	}
	_, evidence := tr.slope(along, own, ownVar, sd, sd0)
	if want := density(sd) - density(sd0); math.Abs(evidence-want) > 1e-8 {
		t.Errorf("evidence: got %.9g, want %.9g", evidence, want)
	}
}
