package solve

import "gonum.org/v1/gonum/floats"

// loading is what an observation multiplies covariate c of term k by, an entry of Z L.
func (s *solution) loading(k, i, c int) float64 {
	z, factor, size := s.Terms[k].Z, s.factors[k], s.size[k]
	switch {
	case s.Terms[k].Varies:
		return s.varying(i) * factor[0]
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

// varying is the covariate of terms that vary.
func (s *solution) varying(i int) float64 {
	_, covariate := s.Given.Row(i, nil)
	return covariate
}

// observe returns what was observed, and what the observation multiplies the fixed effects
// by, in memory where it has to be written, and its leaf; 0 where it has none.
func (s *solution) observe(i int, memory []float64) (y float64, fixed []float64, leaf float64) {
	if s.Given == nil {
		y = s.Y[i]
		if s.nFixed > 0 {
			fixed = s.X.RawRowView(i)
		}
		if s.leafOf(i) >= 0 {
			leaf = s.loading(s.leaf, i, 0)
		}
		return y, fixed, leaf
	}
	y, covariate := s.Given.Row(i, memory)
	if s.leafOf(i) >= 0 {
		leaf = s.factors[s.leaf][0]
		if s.Terms[s.leaf].Varies {
			leaf *= covariate
		}
	}
	return y, memory, leaf
}

// row is what an observation multiplies the unknowns by: the group's own ones, then the
// fixed effects, then those of the shared terms.
type row struct {
	own    []entry
	fixed  []float64 // of all fixed effects
	shared []entry   // places among the shared unknowns, or among the part of them that a group has
	leaf   float64
	y      float64 // what was observed
	memory []float64
	where  []int // of each shared unknown, among the group's part of them; nil = rows are of all
}

// enter has rows be of a group from here on, with places among its part of the shared
// unknowns.
func (r *row) enter(lay *layout, group int) {
	r.where = grown(r.where, max(lay.nShared, 1))
	for i, at := range lay.part[group] {
		r.where[at] = i
	}
}

// entry is one entry of a row, by the place of its unknown.
type entry struct {
	at int
	v  float64
}

// write writes observation i's row.
func (r *row) write(s *solution, i int) {
	r.writeTerms(s, i)
	r.memory = grown(r.memory, s.nFixed)
	r.y, r.fixed, r.leaf = s.observe(i, r.memory)
}

// writeTerms writes the entries of all terms but the leaf.
func (r *row) writeTerms(s *solution, i int) {
	r.own, r.shared = r.own[:0], r.shared[:0]
	for k := range s.Terms {
		l := s.Terms[k].Level.At(i)
		if l < 0 || k == s.leaf {
			continue
		}
		at := s.places[k][l]
		if at >= 0 && r.where != nil {
			at = r.where[at]
		}
		for c := range s.size[k] {
			v := s.loading(k, i, c)
			if at < 0 {
				r.own = append(r.own, entry{s.local[k][l] + c, v})
			} else {
				r.shared = append(r.shared, entry{at + c, v})
			}
		}
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
	sum := r.dotTerms(x, mid)
	return sum + floats.Dot(r.fixed, x[mid:mid+len(r.fixed)])
}

// dotTerms is the entries of terms times such a list.
func (r *row) dotTerms(x []float64, mid int) float64 {
	var sum float64
	for _, e := range r.own {
		sum += e.v * x[e.at]
	}
	for _, e := range r.shared {
		sum += e.v * x[mid+e.at]
	}
	return sum
}
