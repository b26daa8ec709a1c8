package plan

import (
	"context"
	"fmt"
	"math"
	"slices"

	"evenpole/fit"
	"evenpole/fit/layout"
	"evenpole/profiles"
)

// Change is the forecast of the planned pickup when one thing is other than ordered.
// Lists are by string, string 1 first.
type Change struct {
	What    string    `json:"what"`
	Balance []float64 `json:"balance_db"`
	Change  []float64 `json:"change_db"` // of the balance
	Worst   float64   `json:"worst_db"`
	Spread  float64   `json:"spread_db"`
	Meets   float64   `json:"meets"`
}

// By how much things are changed.
const (
	whatIfPickup = 0.5  // mm, the whole pickup
	whatIfTilt   = 0.25 // mm, each end of it
	whatIfPole   = 0.1  // mm
)

// whatIfRadii are the radii, mm, that fretboards are made with (common practice: 7.25, 9.5,
// 10, 12 and 16 in); 0 is flat.
var whatIfRadii = []float64{184.15, 241.3, 254, 304.8, 406.4, 0}

// WhatIf forecasts the planned poles with one thing other than ordered: the
// fretboard's radius, the pickup's height and tilt, each pole's height alone, and the
// strings, for which sets lists more than the order does. Changes with which a pole
// would reach its string are left out. When ctx ends, the error is its error.
func WhatIf(ctx context.Context, o *profiles.Order, m fit.Predictor, opt Options, p *Plan, sets []profiles.StringSet) ([]Change, error) {
	w := whatIf{ctx: ctx, model: layout.Over(m, o), opt: opt, plan: p}
	for _, radius := range otherRadii(o) {
		changed := *o
		changed.FretboardRadius = radius
		what := "fretboard flat"
		if radius > 0 {
			what = fmt.Sprintf("fretboard radius %.5g mm", radius)
		}
		w.add(what, &changed, p.Heights, 0, 0)
	}
	for _, raise := range []float64{whatIfPickup, -whatIfPickup} {
		w.add(profiles.Sprintf("pickup %+.1f mm", raise), o, p.Heights, raise, raise)
	}
	for _, tilt := range []float64{whatIfTilt, -whatIfTilt} {
		w.add(profiles.Sprintf("tilt: string 1's end %+.2f mm, the other %+.2f mm", tilt, -tilt), o, p.Heights, tilt, -tilt)
	}
	w.addPoles(o, p)
	for _, set := range sets {
		if len(set.Strings) == len(o.Strings) {
			changed := *o
			changed.Strings = set.Strings
			w.add("strings "+set.Name, &changed, p.Heights, 0, 0)
		}
	}
	return w.changes, w.err
}

// addPoles forecasts each pole's height alone, with all strings over it. A blade has none.
func (w *whatIf) addPoles(o *profiles.Order, p *Plan) {
	for i := range p.Heights {
		if o.Layout.Leader(i) != i || o.Poles == profiles.Blade {
			continue
		}
		at := slices.Clone(p.Heights)
		for k := range at {
			if o.Layout.Leader(k) == i {
				at[k] += whatIfPole
			}
		}
		what := "pole"
		numbers := o.Layout.PolesOf(i + 1)
		if len(numbers) > 1 {
			what = "poles"
		}
		w.add(profiles.Sprintf("%s %s %+.1f mm", what, joined(numbers), whatIfPole), o, at, 0, 0)
	}
}

// otherRadii are those of fretboards that the order's strings fit on, but for its own.
func otherRadii(o *profiles.Order) []float64 {
	const same = 0.5 // mm, a radius that was rounded
	if o.MeasuredHeights != nil {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(whatIfRadii), func(r float64) bool {
		return math.Abs(r-o.FretboardRadius) < same || r > 0 && r < o.StringSpread
	})
}

// whatIf gathers changes.
type whatIf struct {
	ctx     context.Context
	model   fit.Predictor
	opt     Options
	plan    *Plan
	changes []Change
	err     error // the first there was
}

// add forecasts poles of these heights for a changed order, with the pickup's ends
// raised by so many mm from where the plan has them.
func (w *whatIf) add(what string, o *profiles.Order, heights []float64, first, last float64) {
	if w.err == nil {
		w.err = w.ctx.Err()
	}
	if w.err != nil {
		return
	}
	if w.opt.Progress != nil {
		w.opt.Progress("what if: " + what)
	}
	j, err := w.job(o, first, last)
	if err == nil && j.reaches(heights) != nil {
		return
	}
	var got Forecast
	if err == nil {
		got, err = j.forecastUnder(j.variants[0], heights)
	}
	if err != nil {
		w.err = fmt.Errorf("%s: %s: %w", o.File, what, err)
		return
	}
	c := Change{What: what, Balance: got.Balance, Worst: got.Worst, Spread: got.Spread, Meets: got.Meets}
	for i, b := range got.Balance {
		c.Change = append(c.Change, b-w.plan.Balance[i])
	}
	w.changes = append(w.changes, c)
}

// job is the changed order with the plan's magnets, and with the pickup where the
// plan has it.
func (w *whatIf) job(o *profiles.Order, first, last float64) (*job, error) {
	set, err := setRow(o)
	if err != nil {
		return nil, err
	}
	as := *set
	as.FixedHeights, as.Alternatives = w.plan.Heights, nil
	as.Magnets = w.plan.magnets()
	j, err := newJobOver(w.ctx, &as, w.model, w.opt)
	if err != nil {
		return nil, err
	}
	if m := w.plan.Move; m != nil {
		first, last = first+m.RaiseFirst, last+m.RaiseLast
	}
	return j.moved(first, last), nil
}

// magnets names the magnet of each pole, nil when they are not chosen.
func (p *Plan) magnets() []string {
	var names []string
	for _, q := range p.Poles {
		if q.Magnet == "" {
			return nil
		}
		names = append(names, q.Magnet)
	}
	return names
}
