package next

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// search looks for captures, one after the other.
type search struct {
	*unknowns
	balances   *mat.Dense // of pickups to come: gradient by the unknowns, ln v, one row a string
	candidates []candidate
	woundFor   map[string]int  // number of the capture that a test pickup is wound for, by its key
	atHand     map[string]bool // sets whose strings are there: in the record, or bought for a capture before
}

func newSearch(ctx context.Context, f *fit.Falloff, d *cell.Data, wants []Want, sets []profiles.StringSet) (*search, error) {
	s := &search{woundFor: map[string]int{}, atHand: map[string]bool{}}
	var record *fit.Posterior
	if len(d.Cells) > 0 {
		m, err := f.EffectsOf(d.Cells, nil)
		if err != nil {
			return nil, fmt.Errorf("the record: %w", err)
		}
		if record, err = m.Posterior(); err != nil {
			return nil, fmt.Errorf("the record: %w", err)
		}
		for i := range record.Cells {
			s.atHand[record.Cells[i].Set] = true
		}
	}
	benches := benchesOf(d, wants[0])
	s.unknowns = newUnknowns(withWraps(f, wants, sets), record, sets, benches)
	s.balances = s.balancesOf(wants)
	captures := make([][]candidate, len(benches))
	solve.InParallelEach(len(benches), func(i int) {
		if ctx.Err() == nil {
			captures[i] = s.capturesOf(benches[i], sets)
		}
	})
	s.candidates = slices.Concat(captures...)
	return s, ctx.Err()
}

// capturesOf are the captures of one pickup under sets with as many strings.
func (s *search) capturesOf(b benchPickup, sets []profiles.StringSet) []candidate {
	own := s.ownPartOf(b)
	var out []candidate
	for _, set := range sets {
		if len(set.Strings) == len(b.poles) {
			out = append(out, s.candidateOf(b, own, set, 0), s.candidateOf(b, own, set, liftForNext))
		}
	}
	return out
}

// balancesOf is the gradient of the balances of pickups to come, by the unknowns.
func (u *unknowns) balancesOf(wants []Want) *mat.Dense {
	n := 0
	for _, w := range wants {
		n += len(w.Heights)
	}
	out := mat.NewDense(n, len(u.sds), nil)
	at := 0
	for _, w := range wants {
		end := at + len(w.Heights)
		u.balanceRows(out.Slice(at, end, 0, u.model.Size()).(*mat.Dense), w)
		at = end
	}
	return out
}

// balanceRows writes the gradient of a pickup's balance, ln v, by the parameters.
func (u *unknowns) balanceRows(dst *mat.Dense, w Want) {
	n := len(w.Heights)
	for i := range w.Heights {
		u.model.Gradient(dst.RawRowView(i), u.model.Theta, u.model.Site(w.Setup, i, w.Heights), 0)
	}
	for j := range u.model.Size() {
		mean := mat.Sum(dst.ColView(j)) / float64(n)
		for i := range n {
			dst.Set(i, j, dst.At(i, j)-mean)
		}
	}
}

// uncertainty is the root mean square of the balances' standard deviations, dB, by a
// covariance of the unknowns.
func (s *search) uncertainty(cov mat.Symmetric) float64 { return s.rms(s.total(s.propagated(cov))) }

// propagated is the balances times a covariance of the unknowns.
func (s *search) propagated(cov mat.Symmetric) *mat.Dense {
	var out mat.Dense
	out.Mul(s.balances, cov)
	return &out
}

// total is the sum of the balances' variances, (ln v)^2.
func (s *search) total(propagated *mat.Dense) (sum float64) {
	rows, _ := s.balances.Dims()
	for i := range rows {
		sum += mat.Dot(propagated.RowView(i), s.balances.RowView(i))
	}
	return sum
}

// rms is the root of the mean of the balances' variances, dB, by their sum.
func (s *search) rms(total float64) float64 {
	rows, _ := s.balances.Dims()
	return level.PerLn * math.Sqrt(max(0, total/float64(rows)))
}

// measured is what a capture measures of the unknowns: G C, and the inverse, factorised,
// of its own covariance G C G' + V.
type measured struct {
	gc   mat.Dense
	chol mat.Cholesky
}

func (s *search) measuredBy(c *candidate) (*measured, bool) {
	var m measured
	var gcg mat.Dense
	m.gc.Mul(c.gradient, s.cov)
	gcg.Mul(&m.gc, c.gradient.T())
	n := c.noise.SymmetricDim()
	v := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			v.SetSym(i, k, gcg.At(i, k)+c.noise.At(i, k))
		}
	}
	return &m, m.chol.Factorize(v)
}

// narrowing is by how much a capture lowers the sum of the balances' variances, which are
// L: the trace of L C G' (G C G' + V)^-1 G C L'.
func (s *search) narrowing(c *candidate, propagated *mat.Dense) (float64, bool) {
	m, ok := s.measuredBy(c)
	if !ok {
		return 0, false
	}
	var shared, solved mat.Dense
	shared.Mul(c.gradient, propagated.T())
	if err := m.chol.SolveTo(&solved, &shared); err != nil {
		return 0, false
	}
	solved.MulElem(&solved, &shared)
	return mat.Sum(&solved), true
}

// after is the unknowns' covariance after a capture:
// C - C G' (G C G' + V)^-1 G C.
func (s *search) after(c *candidate) (*mat.SymDense, bool) {
	m, ok := s.measuredBy(c)
	if !ok {
		return nil, false
	}
	var gain, loss mat.Dense
	if err := m.chol.SolveTo(&gain, &m.gc); err != nil {
		return nil, false
	}
	loss.Mul(m.gc.T(), &gain)
	p := s.cov.SymmetricDim()
	out := mat.NewSymDense(p, nil)
	for i := range p {
		for k := i; k < p; k++ {
			out.SetSym(i, k, s.cov.At(i, k)-(loss.At(i, k)+loss.At(k, i))/2)
		}
	}
	return out, true
}

// Costs of a capture beside the time at the jig.
const (
	costsNothing = iota
	costsStrings
	costsWinding
)

// cost is the cost of a capture after those chosen before it.
func (s *search) cost(c *candidate) int {
	switch {
	case c.Pickup == "" && s.woundFor[c.key] == 0:
		return costsWinding
	case !s.atHand[c.Set]:
		return costsStrings
	}
	return costsNothing
}

// A capture that costs less is as good as the best one from nearlyAsMuch of its
// narrowing on. None is proposed that narrows the uncertainty by less than the share
// worthwhile.
const (
	nearlyAsMuch = 0.9
	worthwhile   = 0.02
)

// best is the capture that narrows most, the cheapest of those nearly as good; ok is
// false when none is worthwhile.
func (s *search) best(ctx context.Context) (best candidate, ok bool, err error) {
	propagated := s.propagated(s.cov)
	total := s.total(propagated)
	before := s.rms(total)
	solve.InParallelEach(len(s.candidates), func(i int) {
		if ctx.Err() != nil {
			return
		}
		c := &s.candidates[i]
		c.Before, c.After = before, before
		if less, ok := s.narrowing(c, propagated); ok {
			c.After = s.rms(total - less)
		}
	})
	if err := ctx.Err(); err != nil {
		return candidate{}, false, err
	}
	var most float64
	for i := range s.candidates {
		most = max(most, before-s.candidates[i].After)
	}
	if !(most > worthwhile*before) {
		return candidate{}, false, nil
	}
	good := slices.DeleteFunc(slices.Clone(s.candidates), func(c candidate) bool { return before-c.After < nearlyAsMuch*most })
	slices.SortStableFunc(good, func(a, b candidate) int { return cmp.Or(s.cost(&a)-s.cost(&b), cmp.Compare(a.After, b.After)) })
	return good[0], true, nil
}

// choose proposes a capture as the one of this number, and goes on as if it had been made.
func (s *search) choose(c candidate, number int) Proposal {
	if cov, ok := s.after(&c); ok {
		s.cov = cov
	}
	s.atHand[c.Set] = true
	if c.Pickup == "" {
		if s.woundFor[c.key] == 0 {
			s.woundFor[c.key] = number
		}
		c.WoundFor = s.woundFor[c.key]
	}
	return c.Proposal
}
