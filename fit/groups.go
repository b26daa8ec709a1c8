package fit

import (
	"evenpole/fit/cell"

	"gonum.org/v1/gonum/mat"
)

// groups is which pickup each of some cells belongs to, pickups numbered from 0.
type groups struct {
	of []int
	n  int
}

// byPickup groups cells; those of one pickup stand together.
func byPickup(cells []cell.Cell) groups {
	g := groups{of: make([]int, len(cells))}
	for i := range cells {
		if i == 0 || cells[i].Pickup != cells[i-1].Pickup {
			g.n++
		}
		g.of[i] = g.n - 1
	}
	return g
}

// means returns the mean of each column over each group.
func (g groups) means(x *mat.Dense) *mat.Dense {
	_, cols := x.Dims()
	means := mat.NewDense(g.n, cols, nil)
	size := make([]float64, g.n)
	for i, k := range g.of {
		size[k]++
		for j := range cols {
			means.Set(k, j, means.At(k, j)+x.At(i, j))
		}
	}
	means.Apply(func(k, _ int, v float64) float64 { return v / size[k] }, means)
	return means
}

// centred takes each group's mean off every column, so that no level of a group has to
// be fitted, and returns the mean of these means, each group of one weight.
func (g groups) centred(x *mat.Dense) (*mat.Dense, []float64) {
	rows, cols := x.Dims()
	means := g.means(x)
	out := mat.NewDense(rows, cols, nil)
	out.Apply(func(i, j int, v float64) float64 { return v - means.At(g.of[i], j) }, x)
	centre := make([]float64, cols)
	for j := range centre {
		centre[j] = mat.Sum(means.ColView(j)) / float64(g.n)
	}
	return out, centre
}

// levelsOf is the column of the cells' levels.
func levelsOf(cells []cell.Cell) *mat.Dense {
	y := mat.NewDense(len(cells), 1, nil)
	for i := range cells {
		y.Set(i, 0, cells[i].Mean)
	}
	return y
}
