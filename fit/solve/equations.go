package solve

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// The mixed-model equations (C. R. Henderson, Best linear unbiased estimation
// and prediction under a selection model, Biometrics 31, 1975), written for
// u = L b with b ~ N(0, I) so that a variance of zero makes nothing singular:
//
//	[ L'Z'WZL + I   L'Z'WX     ] [b]   [ L'Z'W y        ]
//	[ X'WZL         X'WX + 1/s ] [B] = [ X'W y + m/s    ]
//
// Group by group the leaves are eliminated, then the group's other unknowns (see
// elimination.go); what remains is a small dense system in the shared ones.

// solution is the model solved at given variances.
type solution struct {
	*layout
	sigma     float64
	factors   [][]float64 // of each term: its lower triangle in full, by rows
	weight    []float64
	groups    []eliminated
	own       [][]float64 // of each group: its unknowns, in the order of their places
	total     *equations  // of the shared unknowns
	shared    *sharedSystem
	b         []float64 // of the shared unknowns: Beta, then those of the shared terms
	residual  []float64 // of each observation
	reml      float64   // -2 log restricted likelihood
	criterion float64   // the same with the priors of the standard deviations
}

// solve finds the effects at given variances, and the criterion. par holds the
// logarithm of the residual standard deviation, then each term's lower triangle.
func (lay *layout) solve(par []float64) (*solution, error) {
	s := &solution{layout: lay}
	if old := lay.spare; old != nil {
		s.weight, s.groups, s.own = old.weight, old.groups, old.own
		lay.spare = nil
	}
	s.sigma, s.factors = lay.unpack(par)
	if s.sigma == 0 || math.IsInf(s.sigma, 0) || math.IsNaN(s.sigma) {
		return nil, errNotDefinite
	}
	s.weigh()
	logdet, err := s.eliminate()
	if err != nil {
		return nil, err
	}
	s.substitute()
	s.sumUp(logdet)
	return s, nil
}

// weigh sets the observations' weights.
func (s *solution) weigh() {
	s.weight = grown(s.weight, s.n)
	InParallel(s.n, func(from, to int) {
		for i := from; i < to; i++ {
			s.weight[i] = 1 / s.noise(s.sigma, i)
			if s.Weight != nil {
				s.weight[i] *= s.Weight[i]
			}
		}
	})
}

// sumUp works out the criterion.
func (s *solution) sumUp(logdet float64) {
	s.reml = logdet + s.penalised()
	n := 0
	for _, c := range s.chunks {
		s.reml += c.misfit
		n += c.weighed
	}
	for j := range s.nFixed {
		if sd := s.priorSD(j); sd > 0 {
			s.reml += 2 * math.Log(sd)
		} else {
			n--
		}
	}
	s.reml += float64(n) * math.Log(2*math.Pi)
	s.criterion = s.reml + s.Sigma.penalty(s.sigma)
	for k, t := range s.Terms {
		if s.size[k] == 1 {
			s.criterion += t.Spread.penalty(s.factors[k][0])
		}
	}
}

// solveAt solves a model at given standard deviations; its terms have one covariate
// each.
func (m *Mixed) solveAt(sigma float64, sds []float64) (*solution, error) {
	lay, err := m.layOut()
	if err != nil {
		return nil, err
	}
	par := append([]float64{math.Log(sigma)}, sds...)
	if len(par) != lay.width() {
		return nil, fmt.Errorf("%d standard deviations for %d terms", len(sds), len(lay.Terms))
	}
	return lay.solve(par)
}

// width is the number of parameters of the variances: the residual's and each
// term's lower triangle.
func (lay *layout) width() int {
	w := 1
	for _, size := range lay.size {
		w += size * (size + 1) / 2
	}
	return w
}

// unpack turns parameters into a residual standard deviation and factors.
func (lay *layout) unpack(par []float64) (float64, [][]float64) {
	factors := make([][]float64, len(lay.Terms))
	at := 1
	for k, size := range lay.size {
		factors[k] = make([]float64, size*size)
		for i := range size {
			at += copy(factors[k][i*size:i*size+i+1], par[at:])
		}
	}
	return math.Exp(par[0]), factors
}

// penalty is -2 log of the prior density of a variance, up to a constant.
func (p Spread) penalty(sd float64) float64 {
	if p.DF == 0 {
		return 0
	}
	v := sd * sd
	return p.DF * (math.Log(v) + p.SD*p.SD/v)
}

// eliminate eliminates the unknowns of all groups, solves for the shared ones and
// returns the log determinant of the equations' matrix.
func (s *solution) eliminate() (logdet float64, err error) {
	if logdet, err = s.addGroups(); err != nil {
		return 0, err
	}
	if s.shared, err = s.total.factorize(); err != nil {
		return 0, err
	}
	s.b = s.shared.solve(s.total.right)
	return logdet + s.shared.logdet, nil
}

// addGroups eliminates the unknowns of all groups, and adds up what these say of the shared
// ones; logdet is of what was eliminated.
func (s *solution) addGroups() (logdet float64, err error) {
	if s.groups == nil {
		s.groups = make([]eliminated, len(s.sizes))
	}
	InParallelEach(len(s.chunks), func(c int) {
		s.blocks.with(func(b *block) { s.chunks[c].addGroups(s, b) })
	})
	s.total = s.sharedEquations()
	for _, c := range s.chunks {
		if !c.definite {
			return 0, errNotDefinite
		}
		logdet += c.logdet
		floats.Add(s.total.matrix, c.shared)
		floats.Add(s.total.right, c.right)
	}
	return logdet, nil
}

// sharedEquations are those of the shared unknowns before there are observations.
func (lay *layout) sharedEquations() *equations {
	e := newEquations(max(lay.nShared, 1))
	if lay.nShared == 0 {
		e.matrix[0] = 1
	}
	for j := range lay.nShared {
		if j >= lay.nFixed {
			e.matrix[j*e.n+j] = 1
		} else if sd := lay.priorSD(j); sd > 0 {
			e.matrix[j*e.n+j] = 1 / (sd * sd)
			e.right[j] = lay.Prior[j].Mean / (sd * sd)
		}
	}
	return e
}

// penalised is what is known of the unknowns beforehand of the penalised sum of squares at the
// solution.
func (s *solution) penalised() float64 {
	var ss float64
	for _, own := range s.own {
		ss += floats.Dot(own, own)
	}
	for j, v := range s.b[:s.nShared] {
		if j >= s.nFixed {
			ss += v * v
		} else if sd := s.priorSD(j); sd > 0 {
			d := (v - s.Prior[j].Mean) / sd
			ss += d * d
		}
	}
	return ss
}

// lastResult is the result of a solution that is not looked at any more: the next one takes
// its memory.
func (s *solution) lastResult() *MixedFit {
	s.spare = s
	return s.result()
}

// result is what callers read: u = L b, covariances.
func (s *solution) result() *MixedFit {
	f := &MixedFit{Sigma: s.sigma, REML: s.reml, Residual: s.residual}
	f.Beta = append([]float64(nil), s.b[:s.nFixed]...)
	if s.nFixed > 0 {
		f.Cov = s.shared.inverse(s.nFixed)
	}
	for k := range s.Terms {
		f.Factor = append(f.Factor, mat.NewDense(s.size[k], s.size[k], s.factors[k]))
		f.U = append(f.U, s.modes(k))
	}
	return f
}

// modes returns the conditional modes of one term, u = L b by level.
func (s *solution) modes(k int) [][]float64 {
	size := s.size[k]
	all := make([]float64, s.levels[k]*size)
	out := make([][]float64, s.levels[k])
	for l := range out {
		out[l] = all[l*size : (l+1)*size : (l+1)*size]
		b := s.level(k, l)
		for r := range b {
			for c := 0; c <= r; c++ {
				out[l][r] += s.factors[k][r*size+c] * b[c]
			}
		}
	}
	return out
}

// level is the solution for one level of a term; nil when no observation has it.
func (s *solution) level(k, l int) []float64 {
	size := s.size[k]
	if at := s.places[k][l]; at >= 0 {
		return s.b[at : at+size]
	}
	if at := s.local[k][l]; at >= 0 {
		return s.own[s.group[k][l]][at : at+size]
	}
	return nil
}
