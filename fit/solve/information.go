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
		return s.result(), sigma, sds, nil
	}
	longest := mat.Norm(&step, math.Inf(1))
	scale := min(1, mostLogStep/longest)
	nextSDs = make([]float64, len(sds))
	for k := range sds {
		nextSDs[k] = sds[k] * math.Exp(-scale*step.AtVec(k+1))
	}
	return s.result(), sigma * math.Exp(-scale*step.AtVec(0)), nextSDs, nil
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
// the criterion -2 log likelihood: f_j' P f_k, with f the working variate of each.
func (s *solution) averageInformation() *mat.SymDense {
	n := 1 + len(s.Terms)
	work := make([][]float64, n)
	for k := range work {
		work[k] = s.workingVariate(k)
	}
	projected := s.project(work)
	info := mat.NewSymDense(n, nil)
	for j := range n {
		for k := j; k < n; k++ {
			info.SetSym(j, k, floats.Dot(work[j], projected[k]))
		}
	}
	return info
}

// workingVariate is the derivative of the observations' covariance by the logarithm of
// one standard deviation, times P y: of the residual one (0) or a term (from 1).
func (s *solution) workingVariate(k int) []float64 {
	out := make([]float64, len(s.Y))
	for i := range out {
		switch {
		case s.weight[i] == 0:
		case k == 0:
			out[i] = s.weightSlope(i) * s.residual[i]
		default:
			if l := s.Terms[k-1].Level[i]; l >= 0 {
				out[i] = 2 * s.loading(k-1, i, 0) * s.level(k-1, l)[0]
			}
		}
	}
	return out
}

// project is P f for each list of observations f: what the model leaves of them, with
// priors of mean zero, over their variance.
func (s *solution) project(fs [][]float64) [][]float64 {
	rights := make([][][]float64, len(s.sizes)) // of each group's unknowns but leaves, by list
	parts := make([][][]float64, len(s.chunks))
	InParallelEach(len(s.chunks), func(c int) {
		var l leaf
		var r row
		sums := newLists(len(fs), len(s.b))
		for g := s.chunks[c].first; g < s.chunks[c].last; g++ {
			rights[g] = s.eliminateRights(g, fs, &r, &l, sums)
		}
		parts[c] = sums
	})
	shared, out := make([][]float64, len(fs)), newLists(len(fs), len(s.Y))
	for j := range fs {
		total := make([]float64, len(s.b))
		for _, p := range parts {
			floats.Add(total, p[j])
		}
		shared[j] = s.shared.solve(total)
	}
	InParallelEach(len(s.chunks), func(c int) {
		var rows []row
		for g := s.chunks[c].first; g < s.chunks[c].last; g++ {
			rows = s.substituteGroup(g, rows, fs, rights[g], shared, out, nil)
		}
	})
	for j := range out {
		floats.Mul(out[j], s.weight)
	}
	return out
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

// eliminateRights eliminates a group's unknowns from other right-hand sides, those of
// lists of observations, and adds what is left to those of the shared unknowns.
func (s *solution) eliminateRights(group int, fs [][]float64, r *row, l *leaf, shared [][]float64) [][]float64 {
	mid, n := s.mids[group], s.mids[group]+len(s.b)
	rights := newLists(len(fs), n)
	byLeaf := make([]float64, len(fs))
	l.with = zeros(l.with, n)
	s.runs(group, func(run []int) {
		l.reset()
		clear(byLeaf)
		for _, i := range run {
			r.write(s, i)
			l.add(s.weight[i], 0, r, mid)
			for j, f := range fs {
				wf := s.weight[i] * f[i]
				r.addTo(rights[j], mid, wf)
				byLeaf[j] += wf * r.leaf
			}
		}
		if s.leafOf(run[0]) >= 0 {
			for j, right := range rights {
				floats.AddScaled(right, -byLeaf[j]/l.pivot, l.with)
			}
		}
	})
	kept := s.groups[group].rows
	for j, right := range rights {
		for m := range mid {
			from := kept[m*n : (m+1)*n]
			floats.AddScaled(right[m+1:], -right[m]/from[m], from[m+1:])
		}
		floats.Add(shared[j], right[mid:])
		rights[j] = right[:mid]
	}
	return rights
}
