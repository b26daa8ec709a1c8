package screen

// information is what data say of the shared unknowns of a levelModel, as a normal
// distribution that can be added to and taken from.
type information struct {
	n         int
	precision []float64 // n by n; the lower triangle counts
	weighted  []float64 // precision times estimate
}

// estimate is the normal distribution of the shared unknowns that all information
// leads to.
type estimate struct {
	cov  []float64 // n by n, both triangles
	mean []float64
}

func noInformation(unknowns int) *information {
	return &information{unknowns, make([]float64, unknowns*unknowns), make([]float64, unknowns)}
}

// add adds what other data say; a sign of -1 takes it away.
func (x *information) add(y *information, sign float64) {
	addScaled(x.precision, sign, y.precision)
	addScaled(x.weighted, sign, y.weighted)
}

// factor is the Cholesky factor of the precision. The priors are in it, so that there is
// one; where rounding says otherwise the diagonal stands alone.
func (x *information) factor() []float64 {
	l := append([]float64(nil), x.precision...)
	if factorise(l, x.n) {
		return l
	}
	clear(l)
	for i := range x.n {
		l[i*x.n+i] = max(x.precision[i*x.n+i], 1e-9)
	}
	factorise(l, x.n)
	return l
}

// mean is the estimate alone.
func (x *information) mean() []float64 {
	mean := append([]float64(nil), x.weighted...)
	solveWith(x.factor(), x.n, mean)
	return mean
}

// posterior turns precision into covariance.
func (x *information) posterior() *estimate {
	l := x.factor()
	out := &estimate{make([]float64, x.n*x.n), append([]float64(nil), x.weighted...)}
	invert(l, x.n, out.cov, make([]float64, x.n*x.n))
	solveWith(l, x.n, out.mean)
	return out
}
