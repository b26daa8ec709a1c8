package solve

import "gonum.org/v1/gonum/floats"

// column is one covariate of a term, and where its unknowns stand.
type column struct {
	term, covariate int
	at              []int32 // of each observation: the place of its unknown, among its group's own ones or the shared ones; -1 = none
}

// listColumns lists the columns of all terms but the leaf.
func (lay *layout) listColumns() {
	for k := range lay.Terms {
		if k != lay.leaf && lay.isLocal(k) {
			lay.addColumns(k, lay.local[k])
		}
	}
	lay.nOwn = len(lay.columns)
	for k := range lay.Terms {
		if lay.isLocal(k) {
			continue
		}
		places := make([]int, lay.levels[k])
		for l := range places {
			places[l] = lay.at[k] + l*lay.size[k]
		}
		lay.addColumns(k, places)
	}
}

// addColumns adds those of term k, whose levels stand at some places.
func (lay *layout) addColumns(k int, places []int) {
	for c := range lay.size[k] {
		at := make([]int32, len(lay.Y))
		for i, l := range lay.Terms[k].Level {
			at[i] = -1
			if l >= 0 {
				at[i] = int32(places[l] + c)
			}
		}
		lay.columns = append(lay.columns, column{k, c, at})
	}
}

// load is what observations multiply a column's unknowns by, Z L.
type load struct {
	same float64   // of all
	each []float64 // of each; nil where it is the same of all
}

func (l *load) of(i int) float64 {
	if l.each == nil {
		return l.same
	}
	return l.each[i]
}

// load works out the loads at the solution's factors.
func (s *solution) load() {
	s.loads = make([]load, len(s.columns))
	for x, c := range s.columns {
		s.loads[x] = s.loadOf(c.term, c.covariate)
	}
	if s.leaf >= 0 {
		s.leafLoad = s.loadOf(s.leaf, 0)
	}
}

// loadOf is the load of covariate c of term k.
func (s *solution) loadOf(k, c int) load {
	if s.Terms[k].Z == nil {
		return load{same: s.factors[k][0]}
	}
	each := make([]float64, len(s.Y))
	InParallel(len(each), func(from, to int) {
		for i := from; i < to; i++ {
			each[i] = s.loading(k, i, c)
		}
	})
	return load{each: each}
}

// loading is entry c of Z L of term k for one observation.
func (s *solution) loading(k, i, c int) float64 {
	z, factor, size := s.Terms[k].Z, s.factors[k], s.size[k]
	switch {
	case z == nil:
		return factor[0]
	case size == 1:
		return z[i][0] * factor[0]
	}
	var v float64
	for r := c; r < size; r++ {
		v += z[i][r] * factor[r*size+c]
	}
	return v
}

// row is what an observation multiplies the unknowns by: the group's own ones, then the
// fixed effects, then those of the shared terms.
type row struct {
	own    []entry
	fixed  []float64 // of all fixed effects
	shared []entry   // places among the shared unknowns
	leaf   float64
}

// entry is one entry of a row, by the place of its unknown.
type entry struct {
	at int
	v  float64
}

// write writes observation i's row.
func (r *row) write(s *solution, i int) {
	r.own, r.shared, r.leaf = r.own[:0], r.shared[:0], 0
	for x := range s.columns[:s.nOwn] {
		if at := s.columns[x].at[i]; at >= 0 {
			r.own = append(r.own, entry{int(at), s.loads[x].of(i)})
		}
	}
	for x := s.nOwn; x < len(s.columns); x++ {
		if at := s.columns[x].at[i]; at >= 0 {
			r.shared = append(r.shared, entry{int(at), s.loads[x].of(i)})
		}
	}
	if s.leafOf(i) >= 0 {
		r.leaf = s.leafLoad.of(i)
	}
	if s.nFixed > 0 {
		r.fixed = s.X.RawRowView(i)
	}
}

// addTo adds the row, times a number, to a list of the group's unknowns and the shared
// ones; mid is where the latter begin.
func (r *row) addTo(to []float64, mid int, times float64) {
	for _, e := range r.own {
		to[e.at] += times * e.v
	}
	to = to[mid:]
	floats.AddScaled(to[:len(r.fixed)], times, r.fixed)
	for _, e := range r.shared {
		to[e.at] += times * e.v
	}
}

// dot is the row times such a list.
func (r *row) dot(x []float64, mid int) float64 {
	var sum float64
	for _, e := range r.own {
		sum += e.v * x[e.at]
	}
	x = x[mid:]
	sum += floats.Dot(r.fixed, x[:len(r.fixed)])
	for _, e := range r.shared {
		sum += e.v * x[e.at]
	}
	return sum
}
