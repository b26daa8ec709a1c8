package solve

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// sum adds up what some groups that stand together say of the shared unknowns. Its
// memory serves one group after the other, and one solution after the other.
type sum struct {
	first, last int // groups
	shared      []float64
	right       []float64
	logdet      float64
	definite    bool

	misfit  float64 // of the observations: squared residuals by their weights, less the weights' logarithms
	weighed int     // observations of another weight than 0
}

// observationsPerChunk is how many observations are worth a goroutine; mostChunks, and
// mostSums, of numbers, bound the memory for sums.
const (
	observationsPerChunk = 2000
	mostChunks           = 16
	mostSums             = 4 << 20
)

// cutIntoChunks shares the groups out.
func (lay *layout) cutIntoChunks() {
	chunks := max(2, min(mostChunks, mostSums/(1+lay.nShared*lay.nShared)))
	per := max(observationsPerChunk, (lay.n+chunks-1)/chunks)
	for g := 0; g < len(lay.sizes); {
		c := &sum{first: g}
		for from := lay.begin[g]; g < len(lay.sizes) && (g == c.first || lay.begin[g+1]-from <= per); g++ {
		}
		c.last = g
		lay.chunks = append(lay.chunks, c)
	}
}

// withOwnChunks is the layout with memory of its own, to solve at the same time as
// another.
func (lay *layout) withOwnChunks() *layout {
	own := *lay
	own.chunks, own.spare = nil, nil
	for _, c := range lay.chunks {
		own.chunks = append(own.chunks, &sum{first: c.first, last: c.last})
	}
	return &own
}

// eliminated is what is kept of a group's unknowns but the leaves, once they are
// eliminated: the rows of the factorised equations, to find them when the shared ones
// are known.
type eliminated struct {
	rows  []float64 // mid x (mid + part), upper triangle: pivots on the diagonal
	right []float64
}

// block is one group's equations, while they are worked on: of the unknowns that are no
// leaves, then the shared ones that it has part in, upper triangle.
type block struct {
	mid, n int
	part   []int // see layout
	matrix []float64
	right  []float64
	logdet float64

	moments moments
	leaf    combination // the sum of a leaf's rows by what multiplies it
	fixed   []float64   // of an observation
	entries classEntries
}

// reset empties the block for a group.
func (b *block) reset(lay *layout, group int) {
	b.mid, b.part = lay.mids[group], lay.part[group]
	b.n = b.mid + len(b.part)
	b.entries.row.enter(lay, group)
	b.matrix, b.right = zeros(b.matrix, b.n*b.n), zeros(b.right, b.n)
	b.logdet = 0
}

// zeros are n zeros, in the memory of v where it is large enough.
func zeros(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n)
	}
	v = v[:n]
	clear(v)
	return v
}

// addGroups eliminates the groups of a chunk and adds them up.
func (c *sum) addGroups(s *solution, b *block) {
	n := max(s.nShared, 1)
	c.shared, c.right, c.logdet, c.definite = zeros(c.shared, n*n), zeros(c.right, n), 0, true
	for g := c.first; g < c.last; g++ {
		if s.begin[g] == s.begin[g+1] {
			continue
		}
		if c.definite = b.eliminate(s, g); !c.definite {
			return
		}
		b.keep(&s.groups[g])
		c.logdet += b.logdet
		b.addShared(s.nFixed, c.shared, c.right)
	}
}

// addShared adds what the group says of the shared unknowns; the first ones are fixed
// effects.
func (b *block) addShared(fixed int, matrix, right []float64) {
	n := len(right)
	for i, at := range b.part {
		from, to := b.matrix[(b.mid+i)*b.n+b.mid:], matrix[at*n:(at+1)*n]
		j := max(i, fixed)
		if i < fixed {
			floats.Add(to[i:fixed], from[i:fixed])
		}
		for _, k := range b.part[j:] {
			to[k] += from[j]
			j++
		}
		right[at] += b.right[b.mid+i]
	}
}

// eliminate adds up a group's equations, without its leaves, and eliminates the
// unknowns that are its own. What is left is what the group says of the shared ones.
func (b *block) eliminate(s *solution, group int) bool {
	b.reset(s.layout, group)
	for _, p := range s.portions[group] {
		b.addPortion(s, &p)
	}
	for j := range b.mid {
		b.matrix[j*b.n+j]++ // what is known of it before
	}
	for j := range b.mid {
		if !b.eliminateUnknown(j) {
			return false
		}
	}
	return true
}

// keep keeps the equations of the unknowns that were eliminated.
func (b *block) keep(in *eliminated) {
	in.rows, in.right = append(in.rows[:0], b.matrix[:b.mid*b.n]...), append(in.right[:0], b.right[:b.mid]...)
}

// addPortion adds up some of a group's observations, and eliminates their leaves: a leaf's
// equation has the products of its observations with each other unknown; to take it off
// is to add the sum of their rows, by what multiplies the leaf, at a weight below 0.
func (b *block) addPortion(s *solution, p *portion) {
	m := &b.moments
	m.reset(s.nFixed, len(p.first), 2*(p.to-p.from))
	b.fixed = grown(b.fixed, s.nFixed)
	s.runsIn(p.from, p.to, func(run []int) {
		b.leaf.reset(m)
		pivot := 1.0
		for _, i := range run {
			w := s.weight[i]
			if w == 0 {
				continue
			}
			y, fixed, z := s.observe(i, b.fixed)
			m.addObservation(w, y, fixed, s.class[i])
			if z != 0 {
				pivot += w * z * z
				b.leaf.add(w*z, y, fixed, s.class[i])
			}
		}
		if pivot > 1 {
			b.logdet += math.Log(pivot)
			m.addCombination(-1/pivot, &b.leaf)
		}
	})
	b.entries.write(s, b.mid, p.first)
	m.addTo(b, &b.entries)
}

// grown is a list of n entries, in the memory of v where it is large enough.
func grown[T any](v []T, n int) []T {
	if cap(v) < n {
		return make([]T, n)
	}
	return v[:n]
}

// eliminateUnknown eliminates one unknown of the group from the equations behind it.
func (b *block) eliminateUnknown(j int) bool {
	from := b.matrix[j*b.n : (j+1)*b.n]
	pivot := from[j]
	if !(pivot > 0) || math.IsInf(pivot, 0) {
		return false
	}
	b.logdet += math.Log(pivot)
	for i := j + 1; i < b.n; i++ {
		if from[i] == 0 {
			continue
		}
		f := -from[i] / pivot
		floats.AddScaled(b.matrix[i*b.n+i:(i+1)*b.n], f, from[i:])
		b.right[i] += f * b.right[j]
	}
	return true
}

// substitute finds every group's unknowns and the residuals, the shared ones known.
func (s *solution) substitute() {
	if s.own == nil {
		s.own = make([][]float64, len(s.sizes))
	}
	s.residual = make([]float64, s.n)
	InParallelEach(len(s.chunks), func(c int) {
		var w substitution
		chunk := s.chunks[c]
		chunk.misfit, chunk.weighed = 0, 0
		for g := chunk.first; g < chunk.last; g++ {
			w.group(s, g)
			chunk.addMisfit(s, g)
		}
	})
}

// addMisfit adds that of a group. It comes from residuals, which are a minimum's, so that
// rounding in the solution enters squared only.
func (c *sum) addMisfit(s *solution, group int) {
	for _, i := range s.order[s.begin[group]:s.begin[group+1]] {
		if w := s.weight[i]; w != 0 {
			c.misfit += w*s.residual[i]*s.residual[i] - math.Log(w)
			c.weighed++
		}
	}
}

// substitution is the memory of finding the unknowns of groups.
type substitution struct {
	row   row
	all   []float64 // the group's unknowns but leaves, then its part of the shared ones
	terms []float64 // what terms but the leaf make of each class
	fixed []float64 // of an observation
	leafs []float64 // what each observation of a run multiplies its leaf by
}

// group finds the unknowns of one group and the residuals of its observations.
func (w *substitution) group(s *solution, group int) {
	mid := s.mids[group]
	n := mid + len(s.part[group])
	kept := s.groups[group]
	w.all = zeros(w.all, n)
	x := w.all
	for i, at := range s.part[group] {
		x[mid+i] = s.b[at]
	}
	w.row.enter(s.layout, group)
	for m := mid - 1; m >= 0 && kept.rows != nil; m-- {
		from := kept.rows[m*n : (m+1)*n]
		x[m] = (kept.right[m] - floats.Dot(from[m+1:], x[m+1:])) / from[m]
	}
	s.own[group] = zeros(s.own[group], s.sizes[group])
	copy(s.own[group], x[:mid])
	for _, p := range s.portions[group] {
		w.terms = grown(w.terms, len(p.first))
		for c, i := range p.first {
			w.row.writeTerms(s, i)
			w.terms[c] = w.row.dotTerms(x, mid)
		}
		s.runsIn(p.from, p.to, func(run []int) {
			b := w.run(s, run)
			if l := s.leafOf(run[0]); l >= 0 {
				s.own[group][s.local[s.leaf][l]] = b
			}
		})
	}
}

// run finds the leaf of a run of observations, 0 where they have none, and their
// residuals.
func (w *substitution) run(s *solution, run []int) (leaf float64) {
	w.fixed, w.leafs = grown(w.fixed, s.nFixed), zeros(w.leafs, len(run))
	sum, pivot := 0.0, 1.0
	for o, i := range run {
		if s.weight[i] == 0 {
			continue
		}
		y, fixed, z := s.observe(i, w.fixed)
		left := y - w.terms[s.class[i]] - floats.Dot(fixed, s.b[:s.nFixed])
		s.residual[i], w.leafs[o] = left, z
		sum += s.weight[i] * z * left
		pivot += s.weight[i] * z * z
	}
	leaf = sum / pivot
	for o, i := range run {
		s.residual[i] -= leaf * w.leafs[o]
	}
	return leaf
}
