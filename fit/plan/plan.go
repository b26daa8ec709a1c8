// Package plan goes from a model and an order to pole heights: within the
// order's limits, beside flat tops and other staggers, with how sure it is.
//
// A string's deviation is its balance less the centred offset that the order wants. A
// stagger is good when the worst deviation among its strings is expected to be
// small. The expectation is over what the model does not know, over what differs
// from one pickup to the next, and over the shop's error in setting a pole. [Make]
// finds the stagger for which it is least (the largest among the order's string
// sets), prefers a simpler stagger that is as good, and forecasts flat tops, poles
// on the strings' arc and the staggers that the order names by the same code.
//
// The way through the package, in the order in which data flow:
//
//   - variant.go: the ordered pickup under one string set (variant): mean levels,
//     their Jacobian by pole height, the covariance of the deviations.
//   - limits.go: the pole heights that an order allows (limits), and the names of
//     limits in messages. Where a limit is worked out.
//   - sample.go: quasi-Monte Carlo samples of simulated pickups (sample).
//   - rows.go: with two coils, the row of poles that is set, and what is said of both
//     ([Coils]).
//   - job.go: [Options], and an order that is checked and ready to plan (job).
//   - forecast.go: what to expect of given pole heights ([Forecast]).
//   - search.go: the best stagger (search); simple.go: flat tops, and a simpler
//     stagger that is as good; magnets.go: magnets from stock to go with it.
//   - document.go: what a plan says ([Plan], [Move], [Pole], [Relaxed], [Advice]).
//   - poles.go: length and tolerance of each pole; relax.go: which limits bind, and
//     the plan with a limit a step wider; move.go: height and tilt of a pickup whose
//     poles cannot be set.
//   - advice.go: where the advice is decided (advise), and the warnings.
//   - plan.go: [Make], which runs all of these in order.
//   - whatif.go: the plan with one thing other than ordered ([WhatIf]).
//   - pair.go: how loud the pickup is beside the other of its instrument ([Pairing]).
package plan

import (
	"context"
	"fmt"

	"evenpole/fit"
	"evenpole/profiles"
)

// Make plans an order for pickups that m predicts. The plan is the stagger with the
// least expected worst deviation, or a simpler one that is worse by no more than
// 0.02 dB. When that stagger leaves a string's mean prediction out of tolerance, and
// another one within the limits leaves none out, the plan is the other one.
//
// Errors name the order's file and what is wrong there: a string that no pole
// height suits, lists of unequal length, a pole that reaches its string. When ctx ends,
// the error is its error.
func Make(ctx context.Context, o *profiles.Order, m fit.Predictor, opt Options) (*Plan, error) {
	j, err := newJob(ctx, o, m, opt)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", o.File, err)
	}
	p, err := j.plan()
	if err == nil {
		p.Coils = describeCoils(o, p.Heights)
	}
	if ctx.Err() != nil { // whatever a search that was cut short came to
		return nil, ctx.Err()
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", o.File, err)
	}
	return p, nil
}

func (j *job) plan() (*Plan, error) {
	p := &Plan{
		Order: j.order.ID, Tolerance: j.order.Tolerance, Source: j.model.Source(),
		Compare: []Comparison{}, Relaxed: []Relaxed{}, Warnings: []string{},
	}
	decide := j.stagger
	if j.order.FixedHeights != nil {
		decide = j.move
	}
	j, err := decide(p)
	if err != nil {
		return nil, err
	}
	if err := j.compare(p); err != nil {
		return nil, err
	}
	j.opt.Progress("how far each pole may be off")
	if p.Poles, err = j.poles(p.Heights); err != nil {
		return nil, err
	}
	p.Advice = p.advise()
	p.Warnings = append(p.Warnings, j.warnings(p)...)
	return p, nil
}

// stagger fills in the planned heights, flat tops and the strings' arc. It returns
// the job with the magnets that were chosen from stock.
func (j *job) stagger(p *Plan) (*job, error) {
	j.opt.Progress("the best heights")
	s, best, err := j.bestMatched()
	if err != nil {
		return nil, err
	}
	j.opt.Progress("flat tops")
	flat, err := s.flat()
	if err != nil {
		return nil, err
	}
	j.opt.Progress("a simpler stagger")
	simple, cost, err := s.simplest(best, flat)
	if err != nil {
		return nil, err
	}
	j = s.job
	p.Best, p.Cost = j.limits.heights(best), cost
	if p.Forecast, err = j.forecast(j.limits.heights(simple)); err != nil {
		return nil, err
	}
	p.Flat = &Flat{Height: j.limits.grid[flat[0]]}
	if p.Flat.Forecast, err = j.forecast(j.limits.heights(flat)); err != nil {
		return nil, err
	}
	if p.Radius, err = j.forecast(j.limits.follow(j.stringHeights())); err != nil {
		return nil, err
	}
	p.Relaxed = j.relax(p)
	return j, nil
}

// compare forecasts the staggers that the order names, also those outside its
// limits.
func (j *job) compare(p *Plan) error {
	for _, c := range j.order.Compare {
		if err := j.reaches(c.Heights); err != nil {
			return fmt.Errorf("compare %q: %w", c.Name, err)
		}
		got, err := j.forecast(c.Heights)
		if err != nil {
			return fmt.Errorf("compare %q: %w", c.Name, err)
		}
		p.Compare = append(p.Compare, Comparison{Name: c.Name, Forecast: got})
	}
	return nil
}
