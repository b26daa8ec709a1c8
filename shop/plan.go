package shop

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"

	"evenpole/capture/record"
	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/explain"
	"evenpole/fit/layout"
	"evenpole/fit/next"
	"evenpole/fit/plan"
	"evenpole/profiles"
)

// Plan plans an order.
func Plan(ctx context.Context, o *profiles.Order, m fit.Predictor, opt plan.Options) (*plan.Plan, error) {
	p, err := plan.Make(ctx, o, m, opt)
	if err != nil {
		return nil, input(ctx, err)
	}
	return p, nil
}

// Plan plans an order of the shop, and warns of others that have its id.
func (s *Shop) Plan(ctx context.Context, o *profiles.Order, m fit.Predictor, opt plan.Options) (*plan.Plan, error) {
	p, err := Plan(ctx, o, m, opt)
	if err != nil {
		return nil, err
	}
	twins, err := s.Twins(o)
	p.Warnings = append(p.Warnings, twins...)
	return p, err
}

// PlanPair plans the other pickup that an order names, and compares its plan p with that;
// nil where it names none.
func (s *Shop) PlanPair(ctx context.Context, o *profiles.Order, m fit.Predictor, opt plan.Options, p *plan.Plan) (*plan.Pair, error) {
	if o.Pair == nil {
		return nil, nil
	}
	path := o.Pair.File
	if !filepath.IsAbs(path) {
		path = filepath.Join(filepath.Dir(o.File), path)
	}
	other, err := s.ReadOrder(path)
	if err != nil {
		return nil, fmt.Errorf("%s: [pair]: %w", o.File, err)
	}
	q, err := Plan(ctx, other, m, plan.Options{})
	if err != nil {
		return nil, err
	}
	pair, err := plan.Pairing(ctx, o, p, other, q, m, opt)
	if err != nil {
		return nil, input(ctx, err)
	}
	return pair, nil
}

// WhatIf changes one thing of a plan at a time, the string set for every other one
// at hand with as many strings.
func (s *Shop) WhatIf(ctx context.Context, o *profiles.Order, m fit.Predictor, opt plan.Options, p *plan.Plan) ([]plan.Change, error) {
	lib, err := s.Library()
	if err != nil {
		return nil, err
	}
	others := slices.DeleteFunc(append(slices.Clone(o.Alternatives), lib.Sets()...), func(set profiles.StringSet) bool { return set.Name == o.Set })
	changes, err := plan.WhatIf(ctx, o, m, opt, p, others)
	if err != nil {
		return nil, input(ctx, err)
	}
	return changes, nil
}

// Planned is an order's pickup at the heights of its plan, with its strings where
// they are over a pickup that the plan moves.
func Planned(ctx context.Context, o *profiles.Order, m fit.Predictor) (setup *fit.Setup, heights []float64, err error) {
	p, err := Plan(ctx, o, m, plan.Options{})
	if err != nil {
		return nil, nil, err
	}
	return AsPlanned(o, p), p.Heights, nil
}

// AsPlanned is an order's pickup as its plan has it, but for the heights of its poles.
func AsPlanned(o *profiles.Order, p *plan.Plan) *fit.Setup {
	setup := plan.Setup(o)
	for i, gap := range p.Gaps {
		setup.StringHeights[i] = p.Heights[i] + gap
	}
	return setup
}

// Given is an order's pickup at heights in mm, string 1 first, or one for all.
func Given(o *profiles.Order, heights []float64) (*fit.Setup, []float64, error) {
	n := len(o.Strings)
	if len(heights) == 1 {
		heights = slices.Repeat(heights, n)
	}
	if len(heights) != n {
		return nil, nil, bad("expected %d, one a string, or one for all, got %d", n, len(heights))
	}
	setup := plan.Setup(o)
	for i, h := range heights {
		if h >= setup.StringHeights[i] {
			return nil, nil, bad("string %d: a pole of %.2f mm reaches the string at %.2f mm", i+1, h, setup.StringHeights[i])
		}
	}
	return setup, heights, nil
}

// Explain splits the balance that a model predicts into causes. It returns the
// model's warnings, too.
func Explain(m fit.Predictor, setup *fit.Setup, heights []float64) (*explain.Explanation, []string, error) {
	x, err := explain.ExplainSetup(m, setup, heights)
	if err != nil {
		return nil, nil, &InputError{err}
	}
	return x, append([]string{}, m.Warnings(setup, heights)...), nil
}

// ExplainOrder is Explain for an order's pickup, and says where causes are told as those
// of another kind.
func ExplainOrder(o *profiles.Order, m fit.Predictor, setup *fit.Setup, heights []float64) (*explain.Explanation, []string, error) {
	x, warnings, err := Explain(m, setup, heights)
	if under := o.Under(); err == nil && under != "" {
		warnings = append(warnings, "causes are told as those of one pole right under each string; of "+under.Words()+" 'plan' predicts the balance")
	}
	return x, warnings, err
}

// Next says which captures would narrow the plans of orders most, count at most. It warns of
// orders for pickups of which none was measured: captures are compared for strings over one
// pole each.
func (s *Shop) Next(ctx context.Context, m fit.Predictor, orders []*profiles.Order, count int) (list []next.Proposal, warnings []string, err error) {
	data, err := s.CellsOrNone(ctx)
	if err != nil {
		return nil, nil, err
	}
	sets, err := s.setsAtHand(data)
	if err != nil {
		return nil, nil, err
	}
	var wants []next.Want
	for _, o := range orders {
		p, err := Plan(ctx, o, m, plan.Options{})
		if err != nil {
			return nil, nil, err
		}
		if what := layout.Unseen(m, o); what != "" {
			warnings = append(warnings, fmt.Sprintf("order %s: %s: capture one first, and fit; what is proposed here tells of strings over one pole each", o.ID, what))
		}
		wants = append(wants, next.Want{Setup: plan.Setup(o), Heights: p.Heights})
		if o.Set == "" {
			sets = append(sets, profiles.StringSet{Name: fmt.Sprintf("strings of order %s", o.ID), Strings: o.Strings})
		}
	}
	record.Tell(ctx, "captures under %d string sets", len(sets))
	if list, err = next.Next(ctx, m, data, wants, sets, count); err != nil {
		return nil, nil, input(ctx, err)
	}
	return list, warnings, nil
}

// setsAtHand lists the string sets of the library and those that the record names,
// as they were measured.
func (s *Shop) setsAtHand(data *cell.Data) ([]profiles.StringSet, error) {
	lib, err := s.Library()
	if err != nil {
		return nil, err
	}
	sets := data.StringSets()
	for _, set := range lib.Sets() {
		if !slices.ContainsFunc(sets, func(known profiles.StringSet) bool { return known.Name == set.Name }) {
			sets = append(sets, set)
		}
	}
	return sets, nil
}
