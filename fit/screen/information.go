package screen

import (
	"gonum.org/v1/gonum/mat"
)

// information is what data say of the shared unknowns of a levelModel, as normal
// distributions that can be added and taken away.
type information struct {
	precision *mat.SymDense
	weighted  []float64 // precision times estimate
}

// estimate is the normal distribution of the shared unknowns that all information
// leads to.
type estimate struct {
	cov  *mat.SymDense
	mean []float64
}

func noInformation(unknowns int) *information {
	return &information{mat.NewSymDense(unknowns, nil), make([]float64, unknowns)}
}

// add adds what other data say; a sign of -1 takes it away.
func (x *information) add(y *information, sign float64) {
	var signed mat.SymDense
	signed.ScaleSym(sign, y.precision)
	x.precision.AddSym(x.precision, &signed)
	for i, v := range y.weighted {
		x.weighted[i] += sign * v
	}
}

// less is the information without some of it.
func (x *information) less(parts ...*information) *information {
	out := noInformation(len(x.weighted))
	out.add(x, 1)
	for _, p := range parts {
		out.add(p, -1)
	}
	return out
}

// posterior turns precision into covariance. The priors are in it, so that it can be
// inverted; where rounding says otherwise its diagonal stands alone.
func (x *information) posterior() *estimate {
	n := len(x.weighted)
	out := &estimate{mat.NewSymDense(n, nil), make([]float64, n)}
	var chol mat.Cholesky
	if !chol.Factorize(x.precision) || chol.InverseTo(out.cov) != nil {
		for i := range n {
			out.cov.SetSym(i, i, 1/max(x.precision.At(i, i), 1e-9))
		}
	}
	mat.NewVecDense(n, out.mean).MulVec(out.cov, mat.NewVecDense(n, x.weighted))
	return out
}

func inner(a, b []float64) float64 {
	var s float64
	for i, v := range a {
		s += v * b[i]
	}
	return s
}
