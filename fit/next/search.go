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
	var onJig []stringSet
	for _, set := range sets {
		onJig = append(onJig, s.setOf(set))
	}
	captures := make([][]candidate, len(benches))
	solve.InParallelEach(len(benches), func(i int) {
		if ctx.Err() == nil {
			captures[i] = s.capturesOf(benches[i], onJig)
		}
	})
	s.candidates = slices.Concat(captures...)
	return s, ctx.Err()
}

// capturesOf are the captures of one pickup under sets with as many strings.
func (s *search) capturesOf(b benchPickup, sets []stringSet) []candidate {
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

// measured is what a capture measures of the unknowns: its gradient G, G C, and the
// inverse, factorised, of its own covariance G C G' + V. It is used for one capture after
// the other.
type measured struct {
	g, gc   *mat.Dense
	columns []int // of the unknowns: G is 0 in all others
	v       *mat.SymDense
	chol    mat.Cholesky
}

// room is where a capture of so many strings is measured.
func (s *search) room(strings int) *measured {
	n, p := strings, len(s.sds)
	return &measured{g: mat.NewDense(n, p, nil), gc: mat.NewDense(n, p, nil), v: mat.NewSymDense(n, nil)}
}

// gradient works out G, and in which columns it is not 0.
func (s *search) gradient(m *measured, c *candidate) {
	s.gradientOf(c, m.g)
	in := slices.Clone(c.own.columns)
	for j := range s.model.Size() {
		in[j] = true
	}
	for _, e := range c.effects {
		in[e.str], in[e.slot] = true, true
	}
	m.columns = m.columns[:0]
	for j := range in {
		if in[j] {
			m.columns = append(m.columns, j)
		}
	}
}

// factorise factorises G C G' + V.
func (s *search) factorise(m *measured, c *candidate) bool {
	var gcg mat.Dense
	gcg.Mul(m.gc, m.g.T())
	s.noiseOf(c, m.v)
	n := len(c.slope)
	for i := range n {
		for k := i; k < n; k++ {
			m.v.SetSym(i, k, gcg.At(i, k)+m.v.At(i, k))
		}
	}
	return m.chol.Factorize(m.v)
}

// narrowing is by how much a capture lowers the sum of the balances' variances, which are
// L: the trace of L C G' (G C G' + V)^-1 G C L'.
func (s *search) narrowing(c *candidate, propagated *mat.Dense, m *measured) (float64, bool) {
	s.gradient(m, c)
	for i := range c.slope {
		s.timesCov(m.gc.RawRowView(i), m.g.RawRowView(i), m.columns)
	}
	if !s.factorise(m, c) {
		return 0, false
	}
	var shared, solved mat.Dense
	shared.Mul(m.g, propagated.T())
	if err := m.chol.SolveTo(&solved, &shared); err != nil {
		return 0, false
	}
	solved.MulElem(&solved, &shared)
	return mat.Sum(&solved), true
}

// timesCov is a row times the unknowns' covariance, in the columns where the row is not
// 0: the others are multiplied by 0 next. It adds up in the order in which mat.Dense.Mul
// does.
func (s *search) timesCov(dst, row []float64, columns []int) {
	cov := s.cov.RawSymmetric()
	for at, j := range columns {
		var above float64
		right := cov.Data[j*cov.Stride:]
		for _, k := range columns[at+1:] {
			above += row[k] * right[k]
		}
		sum := row[j]*right[j] + above
		for _, k := range slices.Backward(columns[:at]) {
			sum += row[k] * cov.Data[k*cov.Stride+j]
		}
		dst[j] = sum
	}
}

// after is the unknowns' covariance after a capture:
// C - C G' (G C G' + V)^-1 G C.
func (s *search) after(c *candidate) (*mat.SymDense, bool) {
	m := s.room(len(c.slope))
	s.gradientOf(c, m.g)
	m.gc.Mul(m.g, s.cov)
	if !s.factorise(m, c) {
		return nil, false
	}
	var gain, loss mat.Dense
	if err := m.chol.SolveTo(&gain, m.gc); err != nil {
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

// atOnce is how many captures are measured in the same room.
const atOnce = 50

// best is the capture that narrows most, the cheapest of those nearly as good; ok is
// false when none is worthwhile.
func (s *search) best(ctx context.Context) (best candidate, ok bool, err error) {
	propagated := s.propagated(s.cov)
	total := s.total(propagated)
	before := s.rms(total)
	parts := slices.Collect(slices.Chunk(s.candidates, atOnce))
	solve.InParallelEach(len(parts), func(i int) {
		var room *measured
		for k := range parts[i] {
			if ctx.Err() != nil {
				return
			}
			c := &parts[i][k]
			if room == nil || room.v.SymmetricDim() != len(c.slope) {
				room = s.room(len(c.slope))
			}
			c.Before, c.After = before, before
			if less, ok := s.narrowing(c, propagated, room); ok {
				c.After = s.rms(total - less)
			}
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
