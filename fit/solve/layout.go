package solve

import (
	"errors"
	"fmt"

	"gonum.org/v1/gonum/mat"
)

// layout says where each unknown of a Mixed stands. Unknowns of one group only
// stand in that group's block, all others among the shared ones.
type layout struct {
	*Mixed
	nFixed  int     // fixed effects
	nShared int     // fixed effects and shared random ones
	size    []int   // of each term: number of covariates
	levels  []int   // of each term: number of levels
	at      []int   // shared terms: where their first level stands; -1 for local terms
	local   [][]int // local terms: where a level stands in its group's block
	group   [][]int // local terms: the group of a level
	sizes   []int   // unknowns of each group
}

// layOut checks the shapes and gives each unknown its place.
func (m *Mixed) layOut() (*layout, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	lay := &layout{Mixed: m, at: make([]int, len(m.Terms)), local: make([][]int, len(m.Terms)), group: make([][]int, len(m.Terms))}
	if m.X != nil {
		_, lay.nFixed = m.X.Dims()
	}
	lay.nShared = lay.nFixed
	groups := 1
	for _, g := range m.Group {
		groups = max(groups, g+1)
	}
	lay.sizes = make([]int, groups)
	for k := range m.Terms {
		lay.place(k)
	}
	return lay, nil
}

// check refuses rows that do not match the observations.
func (m *Mixed) check() error {
	n := len(m.Y)
	if n == 0 {
		return errors.New("no observations")
	}
	if m.X != nil {
		if r, _ := m.X.Dims(); r != n {
			return fmt.Errorf("fixed effects have %d rows for %d observations", r, n)
		}
	}
	for _, t := range m.Terms {
		if len(t.Level) != n || (t.Z != nil && len(t.Z) != n) {
			return fmt.Errorf("term %q does not have one row an observation", t.Name)
		}
	}
	return nil
}

// place gives the levels of term k their places.
func (lay *layout) place(k int) {
	t := &lay.Terms[k]
	size, levels := 1, 0
	if t.Z != nil {
		size = len(t.Z[0])
	}
	for _, l := range t.Level {
		levels = max(levels, l+1)
	}
	lay.size, lay.levels = append(lay.size, size), append(lay.levels, levels)
	if !t.Local || lay.Group == nil {
		lay.at[k] = lay.nShared
		lay.nShared += levels * size
		return
	}
	lay.at[k] = -1
	lay.local[k], lay.group[k] = make([]int, levels), make([]int, levels)
	for l := range lay.local[k] {
		lay.local[k][l] = -1
	}
	for i, l := range t.Level {
		if l < 0 || lay.local[k][l] >= 0 {
			continue
		}
		g := lay.Group[i]
		lay.local[k][l], lay.group[k][l] = lay.sizes[g], g
		lay.sizes[g] += size
	}
}

// groupOf is the group of an observation.
func (lay *layout) groupOf(i int) int {
	if lay.Group == nil {
		return 0
	}
	return lay.Group[i]
}

// entry is one non-zero of an observation's row.
type entry struct {
	at int
	v  float64
}

// row lists an observation's non-zeros among its group's and the shared
// unknowns.
func (lay *layout) row(i int, factors []*mat.Dense, local, shared []entry) ([]entry, []entry) {
	local, shared = local[:0], shared[:0]
	for j := range lay.nFixed {
		if v := lay.X.At(i, j); v != 0 {
			shared = append(shared, entry{j, v})
		}
	}
	for k := range lay.Terms {
		l := lay.Terms[k].Level[i]
		if l < 0 {
			continue
		}
		for c := range lay.size[k] {
			v := lay.loading(k, i, c, factors[k])
			if v == 0 {
				continue
			}
			if lay.at[k] >= 0 {
				shared = append(shared, entry{lay.at[k] + l*lay.size[k] + c, v})
			} else {
				local = append(local, entry{lay.local[k][l] + c, v})
			}
		}
	}
	return local, shared
}

// loading is entry c of Z L of term k for one observation.
func (lay *layout) loading(k, i, c int, factor *mat.Dense) float64 {
	z := lay.Terms[k].Z
	if z == nil {
		return factor.At(0, 0)
	}
	var v float64
	for r := c; r < lay.size[k]; r++ {
		v += z[i][r] * factor.At(r, c)
	}
	return v
}

// priorSD is the standard deviation of a fixed effect's prior; 0 when it has none.
func (m *Mixed) priorSD(j int) float64 {
	if m.Prior == nil {
		return 0
	}
	return m.Prior[j].SD
}

// noise is the residual variance of one observation of full weight.
func (m *Mixed) noise(sigma float64, i int) float64 {
	v := sigma * sigma
	if m.Known != nil {
		v += m.Known[i]
	}
	return v
}
