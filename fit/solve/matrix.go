package solve

import "gonum.org/v1/gonum/mat"

// Rows returns a symmetric matrix, scaled, row by row: as files hold it.
func Rows(m *mat.SymDense, scale float64) [][]float64 {
	rows := make([][]float64, m.SymmetricDim())
	for i := range rows {
		rows[i] = make([]float64, len(rows))
		for j := range rows {
			rows[i][j] = scale * m.At(i, j)
		}
	}
	return rows
}

// Symmetric is the matrix of such rows.
func Symmetric(rows [][]float64) *mat.SymDense {
	m := mat.NewSymDense(len(rows), nil)
	for i, row := range rows {
		for j := i; j < len(row); j++ {
			m.SetSym(i, j, row[j])
		}
	}
	return m
}

// Propagated is the covariance J C J' of linear functions with the derivatives J of
// what has the covariance C.
func Propagated(j mat.Matrix, cov mat.Symmetric) *mat.Dense {
	var half, full mat.Dense
	half.Mul(j, cov)
	full.Mul(&half, j.T())
	return &full
}
