package solve

import (
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// gradient is the gradient of the criterion by the parameters of the variances, exact.
//
// At the solution the penalised sum of squares does not change with the unknowns, so
// that only the rows' own change counts; of the log determinant it is a trace of the
// equations' inverse, of which the entries between unknowns that share an observation
// are enough (K. Takahashi, J. Fagan, M.-S. Chin, Formation of a sparse bus impedance
// matrix and its application to short circuit study, 1973, from memory).
func (s *solution) gradient() []float64 {
	cov := dense(s.shared.inverse(max(s.nShared, 1)))
	parts := make([][]float64, len(s.chunks))
	InParallelEach(len(s.chunks), func(c int) {
		w := inverseWork{s: s, shared: cov, grad: make([]float64, s.width())}
		for g := s.chunks[c].first; g < s.chunks[c].last; g++ {
			w.addGroup(g)
		}
		parts[c] = w.grad
	})
	grad := make([]float64, s.width())
	for _, p := range parts {
		floats.Add(grad, p)
	}
	s.addPriors(grad)
	return grad
}

// addPriors adds the slopes of the priors of the standard deviations.
func (s *solution) addPriors(grad []float64) {
	grad[0] += s.Sigma.penaltySlope(s.sigma) * s.sigma
	at := 1
	for k, size := range s.size {
		if size == 1 {
			grad[at] += s.Terms[k].Spread.penaltySlope(s.factors[k][0])
		}
		at += size * (size + 1) / 2
	}
}

// penaltySlope is the derivative of penalty by the standard deviation.
func (p Spread) penaltySlope(sd float64) float64 {
	if p.DF == 0 {
		return 0
	}
	return 2 * p.DF / sd * (1 - p.SD*p.SD/(sd*sd))
}

// dense is a symmetric matrix in full, by rows.
func dense(m *mat.SymDense) []float64 {
	n := m.SymmetricDim()
	out := make([]float64, n*n)
	for i := range n {
		for j := range n {
			out[i*n+j] = m.At(i, j)
		}
	}
	return out
}

// inverseWork holds the part of the equations' inverse that belongs to one group.
type inverseWork struct {
	s         *solution
	shared    []float64 // the shared unknowns' part, n x n
	mid, n    int
	cov       []float64 // the group's unknowns but leaves, then its part of the shared ones
	row       row
	leaf      leaf
	byLeaf    []float64 // covariance of the leaf with all others, its sign turned
	timesRows []float64 // of an observation: the inverse times its row, at its own and the shared terms' entries
	grad      []float64

	changes, leaves block // see addSlopes
	change          combination
}

// leaf is one leaf's equation: its pivot, and what it shares with each other unknown.
type leaf struct {
	pivot float64
	with  []float64
}

func (l *leaf) reset() {
	clear(l.with)
	l.pivot = 1
}

// add adds an observation of weight w.
func (l *leaf) add(w float64, r *row, mid int) {
	if r.leaf == 0 {
		return
	}
	wz := w * r.leaf
	l.pivot += wz * r.leaf
	r.addTo(l.with, mid, wz)
}

// fill works out the inverse for a group: the shared part is there, each own unknown
// follows from those behind it.
func (w *inverseWork) fill(group int) {
	shared, part := max(w.s.nShared, 1), w.s.part[group]
	w.mid = w.s.mids[group]
	w.n = w.mid + len(part)
	w.row.enter(w.s.layout, group)
	w.cov = zeros(w.cov, w.n*w.n)
	for i, at := range part {
		to, from := w.cov[(w.mid+i)*w.n+w.mid:], w.shared[at*shared:(at+1)*shared]
		for j, k := range part {
			to[j] = from[k]
		}
	}
	kept := w.s.groups[group].rows
	for j := w.mid - 1; j >= 0; j-- {
		from := kept[j*w.n : (j+1)*w.n]
		to := w.cov[j*w.n : (j+1)*w.n]
		for k := j + 1; k < w.n; k++ {
			if from[k] != 0 {
				floats.AddScaled(to[j+1:], -from[k]/from[j], w.cov[k*w.n+j+1:(k+1)*w.n])
			}
		}
		to[j] = (1 - floats.Dot(from[j+1:], to[j+1:])) / from[j]
		for k := j + 1; k < w.n; k++ {
			w.cov[k*w.n+j] = to[k]
		}
	}
}

// addGroup adds what one group's observations add to the gradient.
func (w *inverseWork) addGroup(group int) {
	if w.s.begin[group] == w.s.begin[group+1] {
		return
	}
	w.fill(group)
	w.leaf.with, w.byLeaf = zeros(w.leaf.with, w.n), zeros(w.byLeaf, w.n)
	w.s.runs(group, func(run []int) {
		isLeaf := w.s.leafOf(run[0]) >= 0
		if isLeaf {
			w.invertLeaf(run)
		}
		for _, i := range run {
			w.row.write(w.s, i)
			w.add(i, isLeaf)
		}
	})
}

// invertLeaf works out the leaf's part of the inverse.
func (w *inverseWork) invertLeaf(run []int) {
	w.leaf.reset()
	for _, i := range run {
		w.row.write(w.s, i)
		w.leaf.add(w.s.weight[i], &w.row, w.mid)
	}
	clear(w.byLeaf)
	for x, v := range w.leaf.with {
		if v != 0 {
			floats.AddScaled(w.byLeaf, v/w.leaf.pivot, w.cov[x*w.n:(x+1)*w.n])
		}
	}
}

// variances are those of a group's unknowns, by their places.
func (w *inverseWork) variances(group int) []float64 {
	w.fill(group)
	w.leaf.with, w.byLeaf = zeros(w.leaf.with, w.n), zeros(w.byLeaf, w.n)
	out := make([]float64, w.s.sizes[group])
	for j := range w.mid {
		out[j] = w.cov[j*w.n+j]
	}
	w.s.runs(group, func(run []int) {
		if l := w.s.leafOf(run[0]); l >= 0 {
			w.invertLeaf(run)
			out[w.s.local[w.s.leaf][l]] = w.leafVariance()
		}
	})
	return out
}

// logGradient is the gradient by the logarithms of the standard deviations, of a model
// whose terms have one covariate each, for [Mixed.Step]. It is gradient times the standard
// deviations, in half of the time or less, as it adds up portions and not observations; terms
// of several covariates, and variances of zero, which Fit comes to, have gradient alone.
//
// With the random unknowns b in units of their standard deviations, C the equations' matrix
// and A the rows, b = A'W r at the solution and A'WA = C - I among them, so that the slope
// of the log determinant and of the penalised squares by a term's ln sd is
// 2 sum (1 - (C^-1)_ll - b_l^2) over its unknowns; by ln sigma the weights change, and the
// trace of C^-1 A'(dW)A is left to work out.
func (s *solution) logGradient() []float64 {
	cov := dense(s.shared.inverse(max(s.nShared, 1)))
	parts := make([][]float64, len(s.chunks))
	InParallelEach(len(s.chunks), func(c int) {
		s.inverses.with(func(w *inverseWork) {
			w.s, w.shared, w.grad = s, cov, make([]float64, 1+len(s.Terms))
			for g := s.chunks[c].first; g < s.chunks[c].last; g++ {
				if s.begin[g] < s.begin[g+1] {
					w.addSlopes(g)
				}
			}
			parts[c] = w.grad
			w.s, w.shared = nil, nil
		})
	})
	grad := make([]float64, 1+len(s.Terms))
	for _, p := range parts {
		floats.Add(grad, p)
	}
	grad[0] += s.Sigma.penaltySlope(s.sigma) * s.sigma
	for k, t := range s.Terms {
		sd := s.factors[k][0]
		grad[k+1] += t.Spread.penaltySlope(sd) * sd
		for _, at := range s.places[k] {
			if at >= 0 {
				grad[k+1] += 2 * (1 - cov[at*(s.nShared+1)] - s.b[at]*s.b[at])
			}
		}
	}
	return grad
}

// addSlopes adds what one group adds to logGradient.
func (w *inverseWork) addSlopes(group int) {
	s := w.s
	w.fill(group)
	for at, k := range s.termOf[group] {
		b := s.own[group][at]
		w.grad[k+1] += 2 * (1 - b*b)
		if at < w.mid {
			w.grad[k+1] -= 2 * w.cov[at*(w.n+1)]
		}
	}
	for _, i := range s.order[s.begin[group]:s.begin[group+1]] {
		if v := s.weight[i]; v != 0 {
			w.grad[0] += s.weightSlope(i) * (1 - v*s.residual[i]*s.residual[i])
		}
	}
	w.changes.reset(s.layout, group)
	w.leaves.reset(s.layout, group)
	for _, p := range s.portions[group] {
		w.addPortion(&p)
	}
	w.grad[0] -= w.traceWith(&w.changes)
	if s.leaf >= 0 {
		w.grad[s.leaf+1] -= 2 * w.traceWith(&w.leaves)
	}
}

// addPortion adds up A'(dW)A of a portion of a group, and what makes up the variances of its
// leaves. With z what multiplies a leaf, p its pivot, v the sum of its rows by Wz, u that by
// (dW)z, s the sum of (dW)z^2 and G the inverse's part of all unknowns but leaves, the leaf's
// variance is 1/p + v'Gv/p^2 and adds s/p to the trace and the products of s vv'/p^2 - (uv' + vu')/p
// with G; that is s (v/p - u/s)(v/p - u/s)' - uu'/s.
func (w *inverseWork) addPortion(p *portion) {
	s, leaf, change := w.s, &w.leaves.leaf, &w.change
	t, v := &w.changes.moments, &w.leaves.moments
	t.reset(s.nFixed, len(p.first), 3*(p.to-p.from))
	v.reset(s.nFixed, len(p.first), p.to-p.from)
	w.changes.fixed = grown(w.changes.fixed, s.nFixed)
	s.runsIn(p.from, p.to, func(run []int) {
		leaf.reset(t)
		change.reset(t)
		pivot, slope := 1.0, 0.0
		for _, i := range run {
			weight := s.weight[i]
			if weight == 0 {
				continue
			}
			dW, class := s.weightSlope(i)*weight, s.class[i]
			_, fixed, z := s.observe(i, w.changes.fixed)
			t.addObservation(dW, 0, fixed, class)
			if z != 0 {
				pivot += weight * z * z
				leaf.add(weight*z, 0, fixed, class)
				slope += dW * z * z
				change.add(dW*z, 0, fixed, class)
			}
		}
		if s.leafOf(run[0]) < 0 {
			return
		}
		w.grad[0] -= slope / pivot
		w.grad[s.leaf+1] -= 2 / pivot
		if pivot > 1 {
			v.addCombination(1/(pivot*pivot), leaf)
		}
		if slope > 0 {
			t.addCombination(-1/slope, change)
			leaf.scale(1 / pivot)
			leaf.addScaled(-1/slope, change)
			t.addCombination(slope, leaf)
		}
	})
	entries := &w.changes.entries
	entries.write(s, w.mid, p.first)
	t.addTo(&w.changes, entries)
	v.addTo(&w.leaves, entries)
}

// traceWith is the trace of the inverse's part of a group with other products of its unknowns.
func (w *inverseWork) traceWith(b *block) float64 {
	var sum float64
	for x := range w.n {
		cov, products := w.cov[x*w.n+x:(x+1)*w.n], b.matrix[x*w.n+x:(x+1)*w.n]
		sum += 2*floats.Dot(cov, products) - cov[0]*products[0]
	}
	return sum
}

func (w *inverseWork) leafVariance() float64 {
	return (1 + floats.Dot(w.leaf.with, w.byLeaf)) / w.leaf.pivot
}

// add adds what observation i adds: with its row a, weight w and residual r,
// by an entry of its row 2 w ((C^-1 a) - r b), by ln sigma as its weight changes.
func (w *inverseWork) add(i int, isLeaf bool) {
	s, r := w.s, &w.row
	leverage := 0.0
	w.timesRows = w.timesRows[:0]
	for _, e := range r.own {
		t := w.timesRow(e.at, isLeaf)
		leverage += t * e.v
		w.timesRows = append(w.timesRows, t)
	}
	for j, v := range r.fixed {
		leverage += v * w.timesRow(w.mid+j, isLeaf)
	}
	for _, e := range r.shared {
		t := w.timesRow(w.mid+e.at, isLeaf)
		leverage += t * e.v
		w.timesRows = append(w.timesRows, t)
	}
	leafTimes := 0.0
	if isLeaf {
		leafTimes = r.leaf*w.leafVariance() - r.dot(w.byLeaf, w.mid)
		leverage += leafTimes * r.leaf
	}
	weight, residual := s.weight[i], s.residual[i]
	if weight == 0 {
		return
	}
	w.grad[0] += s.weightSlope(i) * (1 - weight*(leverage+residual*residual))
	w.addFactors(i, leafTimes)
}

// timesRow is one entry of the inverse times an observation's row.
func (w *inverseWork) timesRow(at int, isLeaf bool) float64 {
	sum := w.row.dot(w.cov[at*w.n:(at+1)*w.n], w.mid)
	if isLeaf {
		sum -= w.byLeaf[at] * w.row.leaf
	}
	return sum
}

// weightSlope is the derivative of -ln of an observation's weight by ln sigma.
func (s *solution) weightSlope(i int) float64 {
	return 2 * s.sigma * s.sigma / s.noise(s.sigma, i)
}

// addFactors adds the derivatives by the terms' factors.
func (w *inverseWork) addFactors(i int, leafTimes float64) {
	s := w.s
	own, shared := 0, len(w.row.own)
	par := 1
	for k, size := range s.size {
		l := s.Terms[k].Level.At(i)
		if l >= 0 {
			b := s.level(k, l)
			var times []float64
			switch {
			case k == s.leaf:
				times = []float64{leafTimes}
			case s.places[k][l] < 0:
				times = w.timesRows[own : own+size]
				own += size
			default:
				times = w.timesRows[shared : shared+size]
				shared += size
			}
			at := par
			for r := range size {
				z := 1.0
				if s.Terms[k].Z != nil {
					z = s.Terms[k].Z[i][r]
				}
				for c := 0; c <= r; c++ {
					w.grad[at] += 2 * s.weight[i] * z * (times[c] - s.residual[i]*b[c])
					at++
				}
			}
		}
		par += size * (size + 1) / 2
	}
}
