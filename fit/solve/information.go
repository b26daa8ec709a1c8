package solve

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// mostLogStep bounds by how much a standard deviation changes in one step, ln.
const mostLogStep = 1.0

// Step solves the model at given standard deviations, its own and those of its terms, and
// returns better ones beside the solution: one step of Newton's method on their
// logarithms with the exact gradient and the average of the observed and the expected
// information (A. R. Gilmour, R. Thompson, B. R. Cullis, Average information REML: an
// efficient algorithm for variance parameter estimation in linear mixed models,
// Biometrics 51, 1995). Steps that are repeated lead to where Fit does. Terms have one
// covariate each; every standard deviation has a prior, so that none leads to zero.
func (m *Mixed) Step(sigma float64, sds []float64) (fit *MixedFit, nextSigma float64, nextSDs []float64, err error) {
	s, err := m.solveAt(sigma, sds)
	if err != nil {
		return nil, 0, nil, err
	}
	n := 1 + len(sds)
	grad := s.logGradient()
	info := s.information()
	for k := range n {
		spread, sd := s.Sigma, sigma
		if k > 0 {
			spread, sd = s.Terms[k-1].Spread, sds[k-1]
		}
		info.SetSym(k, k, info.At(k, k)+4*spread.DF*Square(spread.SD/sd))
	}
	var chol mat.Cholesky
	var step mat.VecDense
	if !chol.Factorize(info) || chol.SolveVecTo(&step, mat.NewVecDense(n, grad)) != nil {
		return s.lastResult(), sigma, sds, nil
	}
	longest := mat.Norm(&step, math.Inf(1))
	scale := min(1, mostLogStep/longest)
	nextSDs = make([]float64, len(sds))
	for k := range sds {
		nextSDs[k] = sds[k] * math.Exp(-scale*step.AtVec(k+1))
	}
	return s.lastResult(), sigma * math.Exp(-scale*step.AtVec(0)), nextSDs, nil
}

// sameInformation is how far standard deviations move, ln, before their information is
// worked out again: it only guides the steps.
const sameInformation = 0.05

// information is the average information here, or near here at an earlier solution.
func (s *solution) information() *mat.SymDense {
	at := []float64{math.Log(s.sigma)}
	for k := range s.Terms {
		at = append(at, math.Log(s.factors[k][0]))
	}
	if s.info == nil || floats.Distance(at, s.infoAt, math.Inf(1)) > sameInformation {
		s.info, s.infoAt = s.averageInformation(), at
	}
	return mat.NewSymDense(len(at), slices.Clone(s.info.RawSymmetric().Data))
}

// averageInformation is the information on the logarithms of the standard deviations, for
// the criterion -2 log likelihood: f_j' P f_k, with f the derivative of the observations'
// covariance by one of them, times P y.
//
// With C the equations' matrix, A the rows and b the random unknowns in units of their
// standard deviations, f_k of a term is A e_k, where e_k is 2 b at the term's unknowns and 0
// elsewhere; as A'WA is C less what is known before, f_j' P f_k is e_j'e_k - e_j' C^-1 e_k.
// Of the residual, f_0 is the slopes of the weights times the residuals; with r_0 = A'W f_0,
// f_0' P f_k is r_0' C^-1 e_k, and f_0' P f_0 is f_0'W f_0 - r_0' C^-1 r_0. So products
// through C^-1 are all there is to work out, and these fall out of eliminating r_0 and e_k.
func (s *solution) averageInformation() *mat.SymDense {
	n := 1 + len(s.Terms)
	parts := make([]*products, len(s.chunks))
	InParallelEach(len(s.chunks), func(c int) {
		parts[c] = s.newProducts()
		for g := s.chunks[c].first; g < s.chunks[c].last; g++ {
			parts[c].addGroup(g)
		}
	})
	sum := s.newProducts()
	for _, p := range parts {
		sum.join(p)
	}
	sum.addShared()
	info := mat.NewSymDense(n, nil)
	for j := range n {
		for k := j; k < n; k++ {
			v := -sum.through[j*n+k]
			switch {
			case j == 0 && k > 0:
				v = -v
			case j == k:
				v += sum.squares[j]
			}
			info.SetSym(j, k, v)
		}
	}
	return info
}

// products are the products, through C^-1, of right-hand sides: see averageInformation.
type products struct {
	s       *solution
	through []float64   // of each with each: n x n, upper triangle
	squares []float64   // of e_k with themselves; first f_0'W f_0
	rights  [][]float64 // of the shared unknowns

	group [][]float64 // memory: of a group's unknowns but leaves, then its part of the shared ones
	one   []float64   // likewise: of one unknown
	row   row
	leaf  leaf
}

func (s *solution) newProducts() *products {
	n := 1 + len(s.Terms)
	return &products{s: s, through: make([]float64, n*n), squares: make([]float64, n), rights: newLists(n, len(s.b)), one: make([]float64, n)}
}

// newLists are so many lists of n zeros.
func newLists(lists, n int) [][]float64 {
	all := make([]float64, lists*n)
	out := make([][]float64, lists)
	for j := range out {
		out[j] = all[j*n : (j+1)*n : (j+1)*n]
	}
	return out
}

// join adds others.
func (p *products) join(o *products) {
	floats.Add(p.through, o.through)
	floats.Add(p.squares, o.squares)
	for j, right := range o.rights {
		floats.Add(p.rights[j], right)
	}
}

// addGroup eliminates a group's unknowns.
func (p *products) addGroup(group int) {
	s := p.s
	mid := s.mids[group]
	n := mid + len(s.part[group])
	p.row.enter(s.layout, group)
	p.group, p.leaf.with = newLists(len(p.one), n), zeros(p.leaf.with, n)
	for at, k := range s.termOf[group][:mid] {
		p.group[k+1][at] = p.of(k, s.own[group][at])
	}
	s.runs(group, func(run []int) {
		clear(p.one)
		p.leaf.reset()
		for _, i := range run {
			p.addObservation(i, mid)
		}
		if l := s.leafOf(run[0]); l >= 0 {
			p.one[s.leaf+1] = p.of(s.leaf, s.level(s.leaf, l)[0])
			p.eliminate(p.leaf.pivot, p.leaf.with, 0)
		}
	})
	kept := s.groups[group].rows
	for m := range mid {
		for j, right := range p.group {
			p.one[j] = right[m]
		}
		p.eliminate(kept[m*n+m], kept[m*n+m+1:(m+1)*n], m+1)
	}
	for j, right := range p.group {
		for i, at := range s.part[group] {
			p.rights[j][at] += right[mid+i]
		}
	}
}

// of is the entry of e_k at an unknown b of term k.
func (p *products) of(k int, b float64) float64 {
	p.squares[k+1] += 4 * b * b
	return 2 * b
}

// addObservation adds an observation to r_0, and its leaf to the equations.
func (p *products) addObservation(i, mid int) {
	s := p.s
	w := s.weight[i]
	if w == 0 {
		return
	}
	f := s.weightSlope(i) * s.residual[i]
	p.squares[0] += w * f * f
	p.row.write(s, i)
	p.row.addTo(p.group[0], mid, w*f)
	p.leaf.add(w, &p.row, mid)
	p.one[0] += w * f * p.row.leaf
}

// eliminate eliminates the one unknown, whose equation is coupled with those from a place
// on.
func (p *products) eliminate(pivot float64, with []float64, from int) {
	n := len(p.one)
	for j, v := range p.one {
		if v == 0 {
			continue
		}
		floats.AddScaled(p.through[j*n+j:(j+1)*n], v/pivot, p.one[j:])
		floats.AddScaled(p.group[j][from:], -v/pivot, with)
	}
}

// addShared eliminates the shared unknowns.
func (p *products) addShared() {
	s, n := p.s, len(p.one)
	for k := range s.Terms {
		for _, at := range s.places[k] {
			if at >= 0 {
				p.rights[k+1][at] += p.of(k, s.b[at])
			}
		}
	}
	for k, right := range p.rights {
		solved := s.shared.solve(right)
		for j := range k + 1 {
			p.through[j*n+k] += floats.Dot(p.rights[j], solved)
		}
	}
}
