package solve

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// equations are symmetric linear equations: the upper triangle of an n x n matrix by
// rows, and the right-hand side.
type equations struct {
	n      int
	matrix []float64
	right  []float64
}

func newEquations(n int) *equations {
	return &equations{n, make([]float64, n*n), make([]float64, n)}
}

func (e *equations) clone() *equations {
	return &equations{e.n, append([]float64(nil), e.matrix...), append([]float64(nil), e.right...)}
}

// add adds equations of some of the unknowns, so many times, by their places in order.
func (e *equations) add(times float64, part []int, other *equations) {
	for i, at := range part {
		for j := i; j < other.n; j++ {
			e.matrix[at*e.n+part[j]] += times * other.matrix[i*other.n+j]
		}
		e.right[at] += times * other.right[i]
	}
}

// near solves equations that are much like others, whose factors and solution are given, by
// conjugate gradients: of few unknowns that differ it takes few steps (M. R. Hestenes,
// E. Stiefel, Methods of conjugate gradients for solving linear systems, J. Res. Natl. Bur.
// Stand. 49, 1952). Not ok where many steps do not do.
func (e *equations) near(other *sharedSystem, start []float64) (x []float64, ok bool) {
	const most, enough = 60, 1e-20 // of the squares that are left at first
	a := blas64.Symmetric{N: e.n, Stride: e.n, Data: e.matrix, Uplo: blas.Upper}
	vector := func(v []float64) blas64.Vector { return blas64.Vector{N: e.n, Inc: 1, Data: v} }
	x, left, through := append([]float64(nil), start...), append([]float64(nil), e.right...), make([]float64, e.n)
	blas64.Symv(-1, a, vector(x), 1, vector(left))
	to := other.solve(left)
	along := append([]float64(nil), to...)
	size := floats.Dot(left, to)
	least := enough * floats.Dot(e.right, start)
	for range most {
		if !(size > least) {
			return x, size >= 0
		}
		blas64.Symv(1, a, vector(along), 0, vector(through))
		curvature := floats.Dot(along, through)
		if !(curvature > 0) {
			return nil, false
		}
		floats.AddScaled(x, size/curvature, along)
		floats.AddScaled(left, -size/curvature, through)
		to = other.solve(left)
		next := floats.Dot(left, to)
		floats.Scale(next/size, along)
		floats.Add(along, to)
		size = next
	}
	return nil, false
}

// sharedSystem is the shared unknowns' equations, factorised. Each unknown is counted in
// a unit that brings its diagonal near 1, so that the units of observations and
// covariates do not decide what is taken for singular (J. W. Demmel, Applied Numerical
// Linear Algebra, 1997, section 2.5.1, from memory). Units are powers of two: nothing is
// rounded.
type sharedSystem struct {
	upper  blas64.Triangular // U, U'U = the matrix in these units
	unit   []float64
	logdet float64 // of the matrix in its own units
}

// leastPivot is the least pivot, diagonals being 1 to 4, of equations that determine
// their unknowns: below it rounding has eaten them.
const leastPivot = 1e-14

// factorize factorises the equations' matrix.
func (e *equations) factorize() (*sharedSystem, error) {
	s := &sharedSystem{unit: make([]float64, e.n)}
	for i := range s.unit {
		d := e.matrix[i*e.n+i]
		if !(d > 0) || math.IsInf(d, 0) {
			return nil, errNotDefinite
		}
		s.unit[i] = 1 / powerOfTwo(math.Sqrt(d))
	}
	scaled := make([]float64, len(e.matrix))
	for i, u := range s.unit {
		for j := i; j < e.n; j++ {
			scaled[i*e.n+j] = u * e.matrix[i*e.n+j] * s.unit[j]
		}
	}
	upper, ok := lapack64.Potrf(blas64.Symmetric{N: e.n, Stride: e.n, Data: scaled, Uplo: blas.Upper})
	if !ok {
		return nil, errNotDefinite
	}
	s.upper = upper
	for i, u := range s.unit {
		pivot := upper.Data[i*e.n+i]
		if !(pivot*pivot > leastPivot) {
			return nil, errNotDefinite
		}
		s.logdet += 2 * math.Log(pivot/u)
	}
	return s, nil
}

// solve solves for one right-hand side.
func (s *sharedSystem) solve(right []float64) []float64 {
	x := make([]float64, len(right))
	floats.MulTo(x, right, s.unit)
	v := blas64.Vector{N: len(x), Inc: 1, Data: x}
	blas64.Trsv(blas.Trans, s.upper, v)
	blas64.Trsv(blas.NoTrans, s.upper, v)
	floats.Mul(x, s.unit)
	return x
}

// inverse is the first n rows and columns of the inverse.
func (s *sharedSystem) inverse(n int) *mat.SymDense {
	all := s.upper.N
	if all > manyUnknowns && n < all/4 {
		return s.columns(n)
	}
	inv := blas64.Triangular{N: all, Stride: all, Data: append([]float64(nil), s.upper.Data...), Uplo: blas.Upper, Diag: blas.NonUnit}
	lapack64.Potri(inv)
	out := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			out.SetSym(i, j, s.unit[i]*inv.Data[i*all+j]*s.unit[j])
		}
	}
	return out
}

// among is the part of the inverse of some unknowns.
func (s *sharedSystem) among(part []int) *mat.SymDense { return subset(s.inverse(s.upper.N), part) }

// subset is some rows and columns of a matrix.
func subset(of *mat.SymDense, part []int) *mat.SymDense {
	var out mat.SymDense
	out.SubsetSym(of, part)
	return &out
}

// manyUnknowns are so many that what depends on few of them is worked out by these alone.
// A test sets it.
var manyUnknowns = 150

// columns is inverse, by solving for each column.
func (s *sharedSystem) columns(n int) *mat.SymDense {
	all := s.upper.N
	x := make([]float64, all*n)
	for j := range n {
		x[j*n+j] = s.unit[j]
	}
	lapack64.Potrs(s.upper, blas64.General{Rows: all, Cols: n, Stride: n, Data: x})
	out := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			out.SetSym(i, j, s.unit[i]*x[i*n+j])
		}
	}
	return out
}
