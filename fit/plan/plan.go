// Package plan goes from a model and an order to pole heights: within the
// order's limits, beside flat tops and other staggers, with how sure it is.
//
// A stagger is good when the deviations of its strings, balance less wanted
// offset, lie close together. Make finds the stagger whose predicted
// deviations have the least spread, and judges it by the same code as flat
// tops, poles on the strings' arc, and whatever else the order names.
//
// Offsets are taken as given. The balance of a pickup averages zero, so
// offsets that do not leave every string with the same deviation, their mean
// with the sign turned; the spread does not see it, the tolerance does.
package plan

import (
	"fmt"

	"evenpole/fit"
	"evenpole/profiles"
)

// Advice is the short answer to an order.
type Advice string

// What a plan can advise.
const (
	FlatIsEnough Advice = "flat is enough" // flat tops meet with a chance of enough or more
	NotReachable Advice = "not reachable"  // no stagger within the limits is expected to meet
	UseStagger   Advice = "stagger"
)

// enough is the chance of meeting from which flat tops are advised.
const enough = 0.9

// Options are what a shop may set. The zero value is the usual.
type Options struct {
	SettingSD float64 // mm, standard deviation with which a pole is set; 0 means 0.05
	Draws     int     // simulated pickups behind each chance; 0 means 4096
}

// The defaults of Options.
const (
	settingSD = 0.05 // mm
	drawn     = 4096
)

func (o Options) withDefaults() Options {
	if o.SettingSD == 0 {
		o.SettingSD = settingSD
	}
	if o.Draws == 0 {
		o.Draws = drawn
	}
	return o
}

// Plan is the answer to an order. The figures at its top are those of the
// planned stagger. It marshals to the JSON document of "evenpole plan --json".
type Plan struct {
	Order string `json:"order"` // the order's id
	Judgement
	Tolerance float64      `json:"tolerance_db"`
	Source    string       `json:"source"` // "shop data" or "handbook prior"
	Flat      *Flat        `json:"flat"`   // never nil from Make: what suits the string with the least room suits all
	Radius    Judgement    `json:"radius"` // poles on the strings' arc, from the lowest allowed height
	Compare   []Comparison `json:"compare"`
	Advice    Advice       `json:"advice"`
	Warnings  []string     `json:"warnings"`
}

// Flat is the judgement of all poles at one height.
type Flat struct {
	Height float64 `json:"height_mm"`
	Judgement
}

// Comparison is the judgement of a stagger that the order names.
type Comparison struct {
	Name string `json:"name"`
	Judgement
}

// Make plans an order for pickups that m predicts. The plan is the stagger
// with the least spread of predicted deviations; of equals the one with the
// least scatter about their mean, then the one with the lowest poles. Only when
// that stagger has a string out of tolerance and another within the limits has
// none is the other one the plan.
//
// Errors name the order's file and what is wrong there: a string that no pole
// height suits, lists of unequal length, a pole that reaches its string.
func Make(o *profiles.Order, m fit.Predictor, opt Options) (*Plan, error) {
	j, err := newJob(o, m, opt.withDefaults())
	if err != nil {
		return nil, fmt.Errorf("%s: %w", o.File, err)
	}
	p, err := j.plan()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", o.File, err)
	}
	return p, nil
}

// job is one order being planned.
type job struct {
	order  *profiles.Order
	model  fit.Predictor
	setup  *fit.Setup
	limits limits
	offset []float64 // dB, wanted balance by string
	opt    Options
	points []float64 // standard normal points, one row of len(offset) a draw
}

func newJob(o *profiles.Order, m fit.Predictor, opt Options) (*job, error) {
	if err := check(o, opt); err != nil {
		return nil, err
	}
	s := setup(o)
	lim, err := newLimits(o, s.StringHeights)
	if err != nil {
		return nil, err
	}
	offset := o.Offset
	if len(offset) == 0 {
		offset = make([]float64, len(o.Strings))
	}
	return &job{
		order: o, model: m, setup: s, limits: lim, offset: offset, opt: opt,
		points: normalPoints(opt.Draws, len(o.Strings)),
	}, nil
}

// check refuses what the arithmetic cannot bear; the order's reader has said
// most of it before, with a line number.
func check(o *profiles.Order, opt Options) error {
	n := len(o.Strings)
	switch {
	case n == 0:
		return fmt.Errorf("expected at least one string, got none")
	case n > len(primes):
		return fmt.Errorf("expected at most %d strings, got %d", len(primes), n)
	case len(o.Offset) != 0 && len(o.Offset) != n:
		return fmt.Errorf("offset_db: expected %d values, one a string, got %d", n, len(o.Offset))
	case o.PoleHeights == nil && !(o.PoleHeightStep > 0):
		return fmt.Errorf("pole_height_step_mm: expected more than 0, or pole_heights_mm, got %g", o.PoleHeightStep)
	case !(o.Tolerance > 0):
		return fmt.Errorf("tolerance_db: expected more than 0, got %g", o.Tolerance)
	case !(opt.SettingSD > 0):
		return fmt.Errorf("setting error: expected more than 0 mm, got %g", opt.SettingSD)
	case opt.Draws < 1:
		return fmt.Errorf("draws: expected at least 1, got %d", opt.Draws)
	}
	for _, c := range o.Compare {
		if len(c.Heights) != n {
			return fmt.Errorf("compare %q: expected %d heights, one a string, got %d", c.Name, n, len(c.Heights))
		}
	}
	return nil
}

// setup is the ordered pickup under its strings, but for the poles' heights.
func setup(o *profiles.Order) *fit.Setup {
	s := &fit.Setup{
		Strings:          o.Strings,
		StringHeights:    o.StringHeights(),
		Poles:            o.Poles,
		Batch:            o.Batch,
		Magnets:          o.Magnets,
		ScaleLength:      o.ScaleLength,
		PickupFromBridge: o.PickupFromBridge,
		Excite:           o.Excite,
	}
	if n := len(o.Strings); n > 1 {
		s.Spacing = o.StringSpread / float64(n-1)
	}
	return s
}

func (j *job) plan() (*Plan, error) {
	p := &Plan{
		Order: j.order.ID, Tolerance: j.order.Tolerance, Source: j.model.Source(),
		Compare: []Comparison{}, Warnings: []string{},
	}
	heights, err := j.search()
	if err != nil {
		return nil, err
	}
	if p.Judgement, err = j.judge(heights); err != nil {
		return nil, err
	}
	if p.Flat, err = j.flat(); err != nil {
		return nil, err
	}
	if p.Radius, err = j.judge(j.limits.follow(j.setup.StringHeights)); err != nil {
		return nil, err
	}
	if err := j.compare(p); err != nil {
		return nil, err
	}
	p.Advice = p.advise()
	p.Warnings = append(p.Warnings, j.warnings(p)...)
	return p, nil
}

// compare judges the staggers that the order names, those outside its limits
// too.
func (j *job) compare(p *Plan) error {
	for _, c := range j.order.Compare {
		for i, h := range c.Heights {
			if gap := j.setup.StringHeights[i] - h; gap <= 0 {
				return fmt.Errorf("compare %q: %s: a pole of %.2f mm reaches the string at %.2f mm",
					c.Name, j.name(i), h, j.setup.StringHeights[i])
			}
		}
		got, err := j.judge(c.Heights)
		if err != nil {
			return fmt.Errorf("compare %q: %w", c.Name, err)
		}
		p.Compare = append(p.Compare, Comparison{Name: c.Name, Judgement: got})
	}
	return nil
}

// name is how messages call string i, counted from 0.
func (j *job) name(i int) string { return nameOf(j.order, i) }

func nameOf(o *profiles.Order, i int) string {
	if note := o.Strings[i].Note; note != "" {
		return fmt.Sprintf("string %d (%s)", i+1, note)
	}
	return fmt.Sprintf("string %d", i+1)
}
