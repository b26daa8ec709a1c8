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
	for _, b := range benches {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		for _, set := range sets {
			if len(set.Strings) == len(b.poles) {
				s.candidates = append(s.candidates, s.candidateOf(b, set, 0), s.candidateOf(b, set, liftForNext))
			}
		}
	}
	return s, nil
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
func (s *search) uncertainty(cov mat.Symmetric) float64 {
	var half mat.Dense
	half.Mul(s.balances, cov)
	rows, _ := s.balances.Dims()
	var sum float64
	for i := range rows {
		sum += mat.Dot(half.RowView(i), s.balances.RowView(i))
	}
	return level.PerLn * math.Sqrt(max(0, sum/float64(rows)))
}

// after is the unknowns' covariance after a capture:
// C - C G' (G C G' + V)^-1 G C.
func (s *search) after(c *candidate) (*mat.SymDense, bool) {
	var gc, gcg, gain, loss mat.Dense
	gc.Mul(c.gradient, s.cov)
	gcg.Mul(&gc, c.gradient.T())
	n := c.noise.SymmetricDim()
	v := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			v.SetSym(i, k, gcg.At(i, k)+c.noise.At(i, k))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(v) {
		return nil, false
	}
	if err := chol.SolveTo(&gain, &gc); err != nil {
		return nil, false
	}
	loss.Mul(gc.T(), &gain)
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
	before := s.uncertainty(s.cov)
	var most float64
	for i := range s.candidates {
		if err := ctx.Err(); err != nil {
			return candidate{}, false, err
		}
		c := &s.candidates[i]
		c.Before, c.After = before, before
		if cov, ok := s.after(c); ok {
			c.After = s.uncertainty(cov)
		}
		most = max(most, before-c.After)
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
