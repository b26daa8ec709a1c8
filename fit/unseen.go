package fit

import (
	"context"
	"errors"
	"math"
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// Unseen is a pickup, predicted from the others of a record. A figure is NaN for a cell
// that was plucked another way than they were.
type Unseen struct {
	Expected  []float64 // of its cells, ln v
	BalanceSD []float64 // of each cell's balance less the expected one, ln v
	Err       error     // why it cannot be predicted at all
}

// PredictUnseen predicts every pickup of a record from the others, in order, as the model's
// cross-validation does (see [Fold]): by its share of the equations where that is exact
// enough, else by a model fitted to the others with what m learnt of the scatter. step is
// called before every pickup, from several goroutines at once. When ctx ends, the error is
// its error.
func PredictUnseen(ctx context.Context, m Model, d *cell.Data, step func(done, of int)) ([]Unseen, error) {
	k, err := kindOf(m.Kind())
	if err != nil {
		return nil, err
	}
	u := &unseen{d: d, pickups: d.ByPickup(), refit: k.refitOf(m)}
	if err := u.prepare(ctx, k); err != nil {
		return nil, err
	}
	v := &validation{step: step, total: len(u.pickups)} // counts
	out := make([]Unseen, len(u.pickups))
	solve.InParallelEach(len(out), func(i int) {
		if ctx.Err() == nil {
			v.next()
			out[i] = u.predict(ctx, i)
		}
	})
	return out, ctx.Err()
}

// unseen predicts pickups from the others.
type unseen struct {
	d       *cell.Data
	pickups [][]cell.Cell
	refit   fitter
	excite  profiles.Excitation // of most cells
	first   []int               // of the cells of each pickup among those plucked as most were
	group   []int               // of each pickup among them; -1 = it was plucked another way
	quick   leaver              // nil: every pickup is left out by fitting the others
}

// prepare fits the record as it is, where pickups can be left out by their share of that.
func (u *unseen) prepare(ctx context.Context, k modelKind) error {
	if len(u.pickups) < leastPickups || k.leaver == nil {
		return nil
	}
	same := *u.d
	u.excite, same.Cells, _ = cell.OneExcite(u.d.Cells)
	whole, err := u.refit(ctx, &same)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		return nil // it is said of each pickup
	}
	u.quick = k.leaver(whole, &same)
	at, groups := 0, 0
	for _, cells := range u.pickups {
		group := -1
		u.first = append(u.first, at)
		if at < len(same.Cells) && same.Cells[at].Pickup == cells[0].Pickup {
			group = groups
			groups++
		}
		for at < len(same.Cells) && same.Cells[at].Pickup == cells[0].Pickup {
			at++
		}
		u.group = append(u.group, group)
	}
	return nil
}

// predict predicts pickup i.
func (u *unseen) predict(ctx context.Context, i int) Unseen {
	if u.quick != nil && u.group[i] >= 0 {
		expect, sd, err := u.quick.unseen(u.group[i])
		if !errors.Is(err, errRefit) {
			return u.byShare(i, expect, sd, err)
		}
	}
	return u.byFitting(ctx, u.pickups[i])
}

// byShare is what is said of the cells of pickup i that were plucked as most were.
func (u *unseen) byShare(i int, expect, sd func(i int) float64, err error) Unseen {
	out := unknown(len(u.pickups[i]))
	if out.Err = err; err != nil {
		return out
	}
	at := u.first[i]
	for j := range u.pickups[i] {
		if u.pickups[i][j].Excite == u.excite {
			out.Expected[j], out.BalanceSD[j] = expect(at), sd(at)
			at++
		}
	}
	return out
}

// byFitting fits the other pickups.
func (u *unseen) byFitting(ctx context.Context, cells []cell.Cell) Unseen {
	out := unknown(len(cells))
	others, _ := u.d.Split(cells[0].Pickup)
	m, err := u.refit(ctx, others)
	if err != nil {
		out.Err = err
		return out
	}
	out.Expected = m.Expect(cells)
	sd := func(int) float64 { return float64(m.ResidualSD().Ln()) }
	if f, ok := m.(*Falloff); ok {
		sd = f.unseenSDs(u.d.Cells, cells[0].Pickup)
	}
	known := 0
	for j, y := range out.Expected {
		if !math.IsNaN(y) {
			out.BalanceSD[j] = sd(known)
			known++
		}
	}
	return out
}

// unknown is n cells of which nothing is predicted.
func unknown(n int) Unseen {
	nan := slices.Repeat([]float64{math.NaN()}, n)
	return Unseen{Expected: nan, BalanceSD: slices.Clone(nan)}
}

// unseenSDs is the standard deviation of each balance, ln v, of a pickup that the model has
// not seen, less the predicted one: by the place of its cell among those of the model's
// excitation. It holds the curve's uncertainty, the scatter of the pickup's poles, strings
// and mountings, and the noise of its takes. It is NaN where the model has no solution.
func (f *Falloff) unseenSDs(all []cell.Cell, pickup string) func(i int) float64 {
	none := func(int) float64 { return math.NaN() }
	m, err := f.EffectsOf(all, func(c *cell.Cell) bool { return c.Pickup == pickup })
	if err != nil {
		return none
	}
	p, err := m.Posterior()
	if err != nil {
		return none
	}
	var at []int
	for i := range m.Cells {
		if m.Cells[i].Pickup == pickup {
			at = append(at, i)
		}
	}
	if len(at) == 0 {
		return none
	}
	variances := p.UnseenVariances(at)
	return func(i int) float64 { return math.Sqrt(variances[i]) }
}
