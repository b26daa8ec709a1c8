package solve

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// Anderson speeds up a search that puts x = G(x) again and again, and whose steps get
// shorter by much the same factor each time: from how the last steps differ it tells where
// they lead (D. G. Anderson, Iterative procedures for nonlinear integral equations, J. ACM
// 12, 1965; H. F. Walker, P. Ni, Anderson acceleration for fixed-point iterations, SIAM J.
// Numer. Anal. 49, 2011). Where they lead is the same with it and without.
type Anderson struct {
	Unit []float64 // of each entry of x: steps are compared in these

	lastG, lastF []float64   // where the last step led, and the step in units
	dG, dF       [][]float64 // how steps differ, the last one at the end
}

const (
	andersonDepth = 3   // so many differences are looked at
	andersonMost  = 5.0 // so many times as long as the plain step is the longest one
)

// Next is where to go from x, whose plain step leads to g.
func (a *Anderson) Next(x, g []float64) []float64 {
	f := make([]float64, len(x))
	floats.SubTo(f, g, x)
	floats.Div(f, a.Unit)
	if a.lastF != nil {
		a.remember(g, f)
	}
	a.lastG, a.lastF = append([]float64(nil), g...), f
	next := append([]float64(nil), g...)
	for j, share := range a.shares(f) {
		floats.AddScaled(next, -share, a.dG[j])
	}
	step := make([]float64, len(x))
	floats.SubTo(step, next, x)
	floats.Div(step, a.Unit)
	if shorter := andersonMost * floats.Norm(f, 2) / floats.Norm(step, 2); shorter < 1 {
		for j, s := range step {
			next[j] = x[j] + shorter*s*a.Unit[j]
		}
	}
	return next
}

// remember keeps how a step differs from the last one. A step that is longer than the last
// one was shows that these told nothing.
func (a *Anderson) remember(g, f []float64) {
	if floats.Norm(f, 2) > floats.Norm(a.lastF, 2) {
		a.dG, a.dF = nil, nil
	}
	dG, dF := make([]float64, len(g)), make([]float64, len(f))
	floats.SubTo(dG, g, a.lastG)
	floats.SubTo(dF, f, a.lastF)
	a.dG, a.dF = append(a.dG, dG), append(a.dF, dF)
	if len(a.dG) > andersonDepth {
		a.dG, a.dF = a.dG[1:], a.dF[1:]
	}
}

// shares are those of the differences that make up most of a step.
func (a *Anderson) shares(f []float64) []float64 {
	n := len(a.dF)
	if n == 0 {
		return nil
	}
	d := mat.NewDense(len(f), n, nil)
	for j, v := range a.dF {
		d.SetCol(j, v)
	}
	var qr mat.QR
	qr.Factorize(d)
	var share mat.VecDense
	if err := qr.SolveVecTo(&share, false, mat.NewVecDense(len(f), f)); err != nil || math.IsNaN(mat.Sum(&share)) {
		return nil
	}
	return share.RawVector().Data
}
