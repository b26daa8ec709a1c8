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
	group       block
}

// observationsPerChunk is how many observations are worth a goroutine; mostChunks bounds
// the memory for sums.
const (
	observationsPerChunk = 2000
	mostChunks           = 16
)

// cutIntoChunks shares the groups out.
func (lay *layout) cutIntoChunks() {
	per := max(observationsPerChunk, (len(lay.Y)+mostChunks-1)/mostChunks)
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
	own.chunks = nil
	for _, c := range lay.chunks {
		own.chunks = append(own.chunks, &sum{first: c.first, last: c.last})
	}
	return &own
}

// eliminated is what is kept of a group's unknowns but the leaves, once they are
// eliminated: the rows of the factorised equations, to find them when the shared ones
// are known.
type eliminated struct {
	rows  []float64 // mid x (mid + shared), upper triangle: pivots on the diagonal
	right []float64
}

// block is one group's equations, while they are worked on: of the unknowns that are no
// leaves, then the shared ones, upper triangle.
type block struct {
	mid, n int
	matrix []float64
	right  []float64
	logdet float64
	row    row
	leaf   leaf

	cross             []float64 // products of the shared terms' unknowns with the fixed effects
	columns, weighted []float64 // memory: fixed effects by columns, and one of them weighted
}

// leaf is one leaf's equation: its pivot, what it shares with each other unknown, and
// the right-hand side.
type leaf struct {
	pivot, right float64
	with         []float64
}

// reset empties the block for a group.
func (b *block) reset(lay *layout, group int) {
	b.mid = lay.mids[group]
	b.n = b.mid + max(lay.nShared, 1)
	b.matrix, b.right = zeros(b.matrix, b.n*b.n), zeros(b.right, b.n)
	b.leaf.with = zeros(b.leaf.with, b.n)
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
func (c *sum) addGroups(s *solution) {
	n := max(s.nShared, 1)
	c.shared, c.right, c.logdet, c.definite = zeros(c.shared, n*n), zeros(c.right, n), 0, true
	for g := c.first; g < c.last; g++ {
		if s.begin[g] == s.begin[g+1] {
			s.groups[g] = eliminated{}
			continue
		}
		kept, ok := c.group.eliminate(s, g)
		if !ok {
			c.definite = false
			return
		}
		s.groups[g] = kept
		c.logdet += c.group.logdet
		c.group.addShared(c.shared, c.right)
	}
}

// addShared adds what the group says of the shared unknowns.
func (b *block) addShared(matrix, right []float64) {
	n := len(right)
	for i := range n {
		from := b.matrix[(b.mid+i)*b.n+b.mid:]
		floats.Add(matrix[i*n+i:(i+1)*n], from[i:n])
	}
	floats.Add(right, b.right[b.mid:])
}

// eliminate adds up a group's equations, without its leaves, and eliminates the
// unknowns that are its own. What is left is what the group says of the shared ones.
func (b *block) eliminate(s *solution, group int) (eliminated, bool) {
	b.reset(s.layout, group)
	b.addUp(s, group, s.weight, b.takeLeafOff)
	for j := range b.mid {
		b.matrix[j*b.n+j]++ // what is known of it before
	}
	for j := range b.mid {
		if !b.eliminateUnknown(j) {
			return eliminated{}, false
		}
	}
	return eliminated{append([]float64(nil), b.matrix[:b.mid*b.n]...), append([]float64(nil), b.right[:b.mid]...)}, true
}

// addUp adds up a group's observations at some weights, those of its leaves apart: a leaf
// is given away when its observations are complete.
func (b *block) addUp(s *solution, group int, weight []float64, give func(run []int)) {
	b.addFixed(s, s.order[s.begin[group]:s.begin[group+1]], weight)
	b.cross = zeros(b.cross, (s.nShared-s.nFixed)*s.nFixed)
	s.runs(group, func(run []int) {
		b.leaf.reset()
		for _, i := range run {
			b.row.write(s, i)
			b.addTerms(weight[i], s.Y[i])
			b.leaf.add(weight[i], s.Y[i], &b.row, b.mid)
		}
		if s.leafOf(run[0]) >= 0 {
			give(run)
		}
	})
	for k := range s.nShared - s.nFixed {
		for j, v := range b.cross[k*s.nFixed : (k+1)*s.nFixed] {
			b.matrix[(b.mid+j)*b.n+b.mid+s.nFixed+k] += v
		}
	}
}

// addFixed adds the products of the fixed effects, column by column: they are most of
// what there is to add.
func (b *block) addFixed(s *solution, observations []int, weight []float64) {
	m, p := len(observations), s.nFixed
	if p == 0 {
		return
	}
	b.columns, b.weighted = grown(b.columns, (p+2)*m), grown(b.weighted, m)
	y, w := b.columns[p*m:(p+1)*m], b.columns[(p+1)*m:]
	for o, i := range observations {
		w[o], y[o] = weight[i], s.Y[i]
		for j, v := range s.X.RawRowView(i) {
			b.columns[j*m+o] = v
		}
	}
	for j := range p {
		floats.MulTo(b.weighted, w, b.columns[j*m:(j+1)*m])
		b.right[b.mid+j] += floats.Dot(b.weighted, y)
		to := b.matrix[(b.mid+j)*b.n+b.mid:]
		for k := j; k < p; k++ {
			to[k] += floats.Dot(b.weighted, b.columns[k*m:(k+1)*m])
		}
	}
}

// grown is a list of n entries, in the memory of v where it is large enough.
func grown(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n)
	}
	return v[:n]
}

// addTerms adds the products of an observation y of weight w with the unknowns of terms.
func (b *block) addTerms(w, y float64) {
	r, mid, fixed := &b.row, b.mid, len(b.row.fixed)
	for x, e := range r.own {
		we := w * e.v
		b.right[e.at] += we * y
		to := b.matrix[e.at*b.n : (e.at+1)*b.n]
		for _, f := range r.own[x:] {
			to[f.at] += we * f.v
		}
		floats.AddScaled(to[mid:mid+fixed], we, r.fixed)
		for _, f := range r.shared {
			to[mid+f.at] += we * f.v
		}
	}
	for x, e := range r.shared {
		we := w * e.v
		b.right[mid+e.at] += we * y
		floats.AddScaled(b.cross[(e.at-fixed)*fixed:(e.at-fixed+1)*fixed], we, r.fixed)
		to := b.matrix[(mid+e.at)*b.n+mid : (mid+e.at+1)*b.n]
		for _, f := range r.shared[x:] {
			to[f.at] += we * f.v
		}
	}
}

func (l *leaf) reset() {
	clear(l.with)
	l.pivot, l.right = 1, 0
}

// add adds an observation y of weight w.
func (l *leaf) add(w, y float64, r *row, mid int) {
	if r.leaf == 0 {
		return
	}
	wz := w * r.leaf
	l.pivot += wz * r.leaf
	l.right += wz * y
	r.addTo(l.with, mid, wz)
}

// takeLeafOff eliminates the leaf from the group's other equations.
func (b *block) takeLeafOff([]int) {
	l := &b.leaf
	b.logdet += math.Log(l.pivot)
	for x, v := range l.with {
		if v == 0 {
			continue
		}
		f := -v / l.pivot
		floats.AddScaled(b.matrix[x*b.n+x:(x+1)*b.n], f, l.with[x:])
		b.right[x] += f * l.right
	}
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
	s.own = make([][]float64, len(s.sizes))
	s.residual = make([]float64, len(s.Y))
	InParallelEach(len(s.chunks), func(c int) {
		var rows []row
		for g := s.chunks[c].first; g < s.chunks[c].last; g++ {
			rows = s.substituteGroup(g, rows)
		}
	})
}

// substituteGroup finds the unknowns of one group and the residuals of its observations.
// rows is memory.
func (s *solution) substituteGroup(group int, rows []row) []row {
	mid := s.mids[group]
	n := mid + len(s.b)
	kept := s.groups[group]
	x := make([]float64, n) // the group's unknowns but leaves, then the shared ones
	copy(x[mid:], s.b)
	for m := mid - 1; m >= 0 && kept.rows != nil; m-- {
		from := kept.rows[m*n : (m+1)*n]
		x[m] = (kept.right[m] - floats.Dot(from[m+1:], x[m+1:])) / from[m]
	}
	s.own[group] = make([]float64, s.sizes[group])
	copy(s.own[group], x[:mid])
	s.runs(group, func(run []int) {
		for len(rows) < len(run) {
			rows = append(rows, row{})
		}
		for m, i := range run {
			rows[m].write(s, i)
		}
		b := s.substituteRun(run, rows, x, mid)
		if l := s.leafOf(run[0]); l >= 0 {
			s.own[group][s.local[s.leaf][l]] = b
		}
	})
	return rows
}

// substituteRun finds the leaf of a run of observations, 0 where they have none, and
// their residuals.
func (s *solution) substituteRun(run []int, rows []row, x []float64, mid int) (leaf float64) {
	sum, pivot := 0.0, 1.0
	for m, i := range run {
		r := &rows[m]
		left := s.Y[i] - r.dot(x, mid)
		s.residual[i] = left
		sum += s.weight[i] * r.leaf * left
		pivot += s.weight[i] * r.leaf * r.leaf
	}
	leaf = sum / pivot
	for m, i := range run {
		s.residual[i] -= leaf * rows[m].leaf
	}
	return leaf
}
