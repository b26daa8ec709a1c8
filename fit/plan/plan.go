// Package plan goes from a model and an order to pole heights: within the
// order's limits, beside flat tops and other staggers, with how sure it is.
//
// A stagger is good when the worst deviation of a pickup built so, balance less
// wanted offset, whichever string's it is, is expected to be small: over what the
// model does not know, what differs from one pickup to the next, and the shop's
// error in setting a pole. Make finds the stagger with the least of it under the
// strings that suit it least, prefers a simpler one that serves as well, and
// judges it by the same code as flat tops, poles on the strings' arc, and
// whatever else the order names.
//
// Offsets are taken as given. The balance of a pickup averages zero, so
// offsets that do not leave every string with the same deviation, their mean
// with the sign turned; the spread does not see it, the tolerance does.
package plan

import (
	"cmp"
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
	MovePickup   Advice = "move the pickup"              // for poles that stand as they are
	LeavePickup  Advice = "leave the pickup as it hangs" // likewise
)

// enough is the chance of meeting from which flat tops are advised.
const enough = 0.9

// Options are what a shop may set. The zero value is the usual.
type Options struct {
	SettingSD float64  // mm, standard deviation with which a pole is set; 0 means the order's, else 0.05
	Draws     int      // simulated pickups behind each chance; 0 means 2048
	Stock     []string // magnets to choose from, each with a measured field; nil when they are not told apart
}

// The defaults of Options.
const (
	settingSD = 0.05 // mm
	drawn     = 2048
)

func (o Options) withDefaults(order *profiles.Order) Options {
	o.SettingSD = cmp.Or(o.SettingSD, order.SettingError, settingSD)
	o.Draws = cmp.Or(o.Draws, drawn)
	return o
}

// Plan is the answer to an order. The figures at its top are those of the
// planned stagger. It marshals to the JSON document of "evenpole plan --json".
type Plan struct {
	Order string `json:"order"` // the order's id
	Judgement
	Tolerance float64      `json:"tolerance_db"`
	Source    string       `json:"source"`             // "shop data" or "handbook prior"
	Cost      float64      `json:"simplicity_cost_db"` // what the stagger gives away to the best one, in worst_db, for being simpler
	Best      []float64    `json:"best_heights_mm"`    // the best one
	Move      *Move        `json:"pickup,omitempty"`   // for poles that stand as they are
	Poles     []Pole       `json:"poles"`
	Flat      *Flat        `json:"flat"`   // nil when poles stand as they are
	Radius    Judgement    `json:"radius"` // poles on the strings' arc, from the lowest allowed height
	Compare   []Comparison `json:"compare"`
	Advice    Advice       `json:"advice"`
	Relaxed   []Relaxed    `json:"relaxed"` // the limits that bind, and what a step more would buy
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

// Stagger is one row of a plan's tables: a stagger under a string set.
type Stagger struct {
	Name    string
	Strings string // the alternative's name; "" = the order's own
	Judgement
}

// Staggers lists the plan and all that stands beside it, each under the order's
// own strings and then under its alternatives.
func (p *Plan) Staggers() []Stagger {
	var out []Stagger
	add := func(name string, g *Judgement) {
		for _, s := range g.each() {
			out = append(out, Stagger{name, s.Name, s.Judgement})
		}
	}
	add("plan", &p.Judgement)
	if p.Move != nil && p.Move.Unmoved != nil {
		add("as it hangs", p.Move.Unmoved)
	}
	if p.Flat != nil {
		add("flat tops", &p.Flat.Judgement)
	}
	add("strings' arc", &p.Radius)
	for i := range p.Compare {
		add(p.Compare[i].Name, &p.Compare[i].Judgement)
	}
	return out
}

// Make plans an order for pickups that m predicts. The plan is the stagger
// with the least expected worst deviation, or a simpler one that is worse by no
// more than 0.02 dB. Only when the best stagger has a string whose mean
// prediction is out of tolerance and another within the limits has none is the
// other one the plan.
//
// Errors name the order's file and what is wrong there: a string that no pole
// height suits, lists of unequal length, a pole that reaches its string.
func Make(o *profiles.Order, m fit.Predictor, opt Options) (*Plan, error) {
	j, err := newJob(o, m, opt)
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
	beds   []*bed // the order's own strings first
	limits limits
	offset []float64 // dB, wanted balance by string
	opt    Options
	points []float64 // standard normal points, one row of len(offset) a draw
}

func newJob(o *profiles.Order, m fit.Predictor, opt Options) (*job, error) {
	opt = opt.withDefaults(o)
	if err := check(o, opt); err != nil {
		return nil, err
	}
	j := &job{order: o, model: m, offset: o.Offset, opt: opt, points: normalPoints(opt.Draws, len(o.Strings))}
	if len(j.offset) == 0 {
		j.offset = make([]float64, len(o.Strings))
	}
	j.addBed(o.Set, o.Strings)
	for _, a := range o.Alternatives {
		j.addBed(a.Name, a.Strings)
	}
	if o.FixedHeights != nil {
		return j, nil
	}
	var err error
	j.limits, err = newLimits(o, j.stringHeights())
	return j, err
}

// addBed puts a string set over the ordered pickup.
func (j *job) addBed(name string, strings []profiles.String) {
	j.beds = append(j.beds, &bed{name: name, model: j.model, setup: setup(j.order, strings), offset: j.offset})
}

// with is the job with every setup changed.
func (j *job) with(change func(*fit.Setup)) *job {
	out := *j
	out.beds = nil
	for _, b := range j.beds {
		c, s := *b, *b.setup
		c.setup = &s
		change(&s)
		out.beds = append(out.beds, &c)
	}
	return &out
}

// stringHeights are the strings' undersides, the same for every set.
func (j *job) stringHeights() []float64 { return j.beds[0].setup.StringHeights }

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
	case o.PoleHeights == nil && o.FixedHeights == nil && o.PoleHeightStep == 0:
		return fmt.Errorf("expected one of pole_height_step_mm, pole_heights_mm and pole_heights_fixed_mm, got none")
	case o.PoleHeights == nil && o.FixedHeights == nil && !(o.PoleHeightStep > 0):
		return fmt.Errorf("pole_height_step_mm: expected more than 0, got %g", o.PoleHeightStep)
	case o.FixedHeights != nil && len(o.FixedHeights) != n:
		return fmt.Errorf("pole_heights_fixed_mm: expected %d heights, one a string, got %d", n, len(o.FixedHeights))
	case !(o.Tolerance > 0):
		return fmt.Errorf("tolerance_db: expected more than 0, got %g", o.Tolerance)
	case !(opt.SettingSD > 0):
		return fmt.Errorf("setting error: expected more than 0 mm, got %g", opt.SettingSD)
	case opt.Draws < 1:
		return fmt.Errorf("draws: expected at least 1, got %d", opt.Draws)
	}
	for _, a := range o.Alternatives {
		if len(a.Strings) != n {
			return fmt.Errorf("alternative %q: expected %d strings, got %d", a.Name, n, len(a.Strings))
		}
	}
	for _, c := range o.Compare {
		if len(c.Heights) != n {
			return fmt.Errorf("compare %q: expected %d heights, one a string, got %d", c.Name, n, len(c.Heights))
		}
	}
	return nil
}

// Setup is the ordered pickup under its own strings, but for the poles' heights.
func Setup(o *profiles.Order) *fit.Setup { return setup(o, o.Strings) }

// setup is the ordered pickup under a string set, but for the poles' heights.
func setup(o *profiles.Order, strings []profiles.String) *fit.Setup {
	s := &fit.Setup{
		Strings:          strings,
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
	if p.Poles, err = j.poles(p.Heights); err != nil {
		return nil, err
	}
	p.Advice = p.advise()
	p.Warnings = append(p.Warnings, j.warnings(p)...)
	return p, nil
}

// stagger fills in the planned heights, and flat tops and the strings' arc
// beside them. It returns the job with the magnets that it chose from stock.
func (j *job) stagger(p *Plan) (*job, error) {
	s, best, err := j.bestMatched()
	if err != nil {
		return nil, err
	}
	flat, err := s.flat()
	if err != nil {
		return nil, err
	}
	simple, cost, err := s.simplest(best, flat)
	if err != nil {
		return nil, err
	}
	j = s.job
	p.Best, p.Cost = j.limits.heights(best), cost
	if p.Judgement, err = j.judge(j.limits.heights(simple)); err != nil {
		return nil, err
	}
	p.Flat = &Flat{Height: j.limits.grid[flat[0]]}
	if p.Flat.Judgement, err = j.judge(j.limits.heights(flat)); err != nil {
		return nil, err
	}
	if p.Radius, err = j.judge(j.limits.follow(j.stringHeights())); err != nil {
		return nil, err
	}
	p.Relaxed = j.relax(p)
	return j, nil
}

// compare judges the staggers that the order names, those outside its limits
// too.
func (j *job) compare(p *Plan) error {
	for _, c := range j.order.Compare {
		if err := j.reaches(c.Heights); err != nil {
			return fmt.Errorf("compare %q: %w", c.Name, err)
		}
		got, err := j.judge(c.Heights)
		if err != nil {
			return fmt.Errorf("compare %q: %w", c.Name, err)
		}
		p.Compare = append(p.Compare, Comparison{Name: c.Name, Judgement: got})
	}
	return nil
}

// reaches refuses a pole that reaches its string.
func (j *job) reaches(heights []float64) error {
	for i, h := range heights {
		if s := j.stringHeights()[i]; s-h <= 0 {
			return fmt.Errorf("%s: a pole of %.2f mm reaches the string at %.2f mm", j.name(i), h, s)
		}
	}
	return nil
}

// name is how messages call string i, counted from 0.
func (j *job) name(i int) string { return nameOf(j.order.Strings, i) }

func nameOf(strings []profiles.String, i int) string {
	if note := strings[i].Note; note != "" {
		return fmt.Sprintf("string %d (%s)", i+1, note)
	}
	return fmt.Sprintf("string %d", i+1)
}
