package fit

import "gonum.org/v1/gonum/mat"

// rowsOf returns a symmetric matrix, scaled, row by row.
func rowsOf(m *mat.SymDense, scale float64) [][]float64 {
	rows := make([][]float64, m.SymmetricDim())
	for i := range rows {
		rows[i] = make([]float64, len(rows))
		for j := range rows {
			rows[i][j] = scale * m.At(i, j)
		}
	}
	return rows
}

// symmetric is the inverse of rowsOf.
func symmetric(rows [][]float64) *mat.SymDense {
	m := mat.NewSymDense(len(rows), nil)
	for i, row := range rows {
		for j := i; j < len(row); j++ {
			m.SetSym(i, j, row[j])
		}
	}
	return m
}
