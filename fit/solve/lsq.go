package solve

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// LinearFit is a linear least-squares fit y = X b + e.
type LinearFit struct {
	B    []float64     // estimates, one a column of X
	Cov  *mat.SymDense // (X'X)^-1; times the residual variance it is the covariance of B
	SS   float64       // sum of squared residuals
	R    []float64     // residuals
	Rows int           // observations
}

// SD returns the residual standard deviation when besides the columns of X
// a number of other parameters was fitted (group means taken off beforehand,
// for one); 0 when no degree of freedom is left.
func (f *LinearFit) SD(others int) float64 {
	if df := f.Rows - len(f.B) - others; df > 0 {
		return math.Sqrt(f.SS / float64(df))
	}
	return 0
}

// RankError says that a column of X is a combination of those before it.
type RankError struct{ Column int }

func (e *RankError) Error() string {
	return fmt.Sprintf("column %d is a combination of those before it", e.Column)
}

// dependent is how far a column of unit length must lie from the span of those
// before it to count as another one: a few thousand roundings.
const dependent = 1e-12

// Linear fits y = X b by least squares; X has at least as many rows as columns.
// A column that the others make up is a *RankError.
//
// Columns are scaled to unit length and factorised by Householder QR; the
// estimates are then refined with residuals in doubled precision through the
// triangle of the QR (corrected seminormal equations: Å. Björck, Stability
// analysis of the method of seminormal equations, Linear Algebra Appl. 88/89,
// 1987), so that they are as good as their rounding allows while the square of
// the scaled condition number stays below 1e15.
func Linear(x *mat.Dense, y []float64) (*LinearFit, error) {
	rows, cols := x.Dims()
	if len(y) != rows || rows < cols {
		return nil, fmt.Errorf("%d observations for a matrix of %d rows and %d columns", len(y), rows, cols)
	}
	scaled, scale, err := unitColumns(x)
	if err != nil {
		return nil, err
	}
	var qr mat.QR
	qr.Factorize(scaled)
	chol, err := triangle(&qr, cols)
	if err != nil {
		return nil, err
	}
	f := &LinearFit{B: make([]float64, cols), Rows: rows}
	f.refine(x, y, chol, scale)
	f.SS = SumSquares(f.R)
	f.Cov = mat.NewSymDense(cols, nil)
	if err := chol.InverseTo(f.Cov); err != nil {
		return nil, fmt.Errorf("inverse of the normal equations: %w", err)
	}
	for i := range cols {
		for j := i; j < cols; j++ {
			f.Cov.SetSym(i, j, f.Cov.At(i, j)/scale[i]/scale[j])
		}
	}
	return f, nil
}

// unitColumns returns X with columns of unit length, and their lengths.
func unitColumns(x *mat.Dense) (*mat.Dense, []float64, error) {
	_, cols := x.Dims()
	scaled := mat.DenseCopyOf(x)
	scale := make([]float64, cols)
	for j := range scale {
		scale[j] = mat.Norm(x.ColView(j), 2)
		if scale[j] == 0 {
			return nil, nil, &RankError{j}
		}
	}
	scaled.Apply(func(_, j int, v float64) float64 { return v / scale[j] }, scaled)
	return scaled, scale, nil
}

// triangle returns R of a QR as the Cholesky factor that it is: R'R = X'X.
func triangle(qr *mat.QR, cols int) (*mat.Cholesky, error) {
	var r mat.Dense
	qr.RTo(&r)
	u := mat.NewTriDense(cols, mat.Upper, nil)
	for i := range cols {
		if math.Abs(r.At(i, i)) < dependent {
			return nil, &RankError{i}
		}
		sign := math.Copysign(1, r.At(i, i))
		for j := i; j < cols; j++ {
			u.SetTri(i, j, sign*r.At(i, j))
		}
	}
	var chol mat.Cholesky
	chol.SetFromU(u)
	return &chol, nil
}

// refine solves for B in steps, each from the residuals of the last, and leaves
// the residuals of the B that it ends with.
func (f *LinearFit) refine(x *mat.Dense, y []float64, chol *mat.Cholesky, scale []float64) {
	const steps = 3 // the first is the plain solution; on the certified sets the second reaches every digit
	step := mat.NewVecDense(len(f.B), nil)
	for range steps {
		gradient := f.residuals(x, y)
		for j := range scale {
			gradient[j] /= scale[j]
		}
		if err := chol.SolveVecTo(step, mat.NewVecDense(len(gradient), gradient)); err != nil {
			break // close to singular: what has been reached stands
		}
		for j := range f.B {
			f.B[j] += step.AtVec(j) / scale[j]
		}
	}
	f.residuals(x, y)
}

// residuals sets R to y - X B and returns X'R, both summed in doubled precision.
func (f *LinearFit) residuals(x *mat.Dense, y []float64) []float64 {
	f.R = make([]float64, len(y))
	sums := make([]doubled, len(f.B))
	for i, v := range y {
		r := doubled{hi: v}
		row := x.RawRowView(i)
		for j, b := range f.B {
			r.add(-b, row[j])
		}
		f.R[i] = r.hi + r.lo
		for j := range sums {
			sums[j].add(r.hi, row[j])
			sums[j].add(r.lo, row[j])
		}
	}
	gradient := make([]float64, len(f.B))
	for j, s := range sums {
		gradient[j] = s.hi + s.lo
	}
	return gradient
}

// doubled is an unevaluated sum of two floats, some 32 digits.
type doubled struct{ hi, lo float64 }

// add adds a*b: product and sum with their rounding errors (D. E. Knuth, The
// Art of Computer Programming 2, section 4.2.2; T. J. Dekker, A floating-point
// technique for extending the available precision, 1971).
func (d *doubled) add(a, b float64) {
	p := a * b
	e := math.FMA(a, b, -p)
	s := d.hi + p
	t := s - d.hi
	d.lo += (d.hi - (s - t)) + (p - t) + e
	d.hi = s
}
