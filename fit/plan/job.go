package plan

import (
	"cmp"
	"context"
	"fmt"

	"evenpole/fit"
	"evenpole/fit/layout"
	"evenpole/profiles"
)

// Options are what a shop may set. The zero value is the usual.
type Options struct {
	SettingSD float64  // mm, standard deviation with which a pole is set; 0 means the order's, else 0.05
	Draws     int      // simulated pickups behind each chance; 0 means 2048
	Stock     []string // magnets to choose from, each with a measured field; nil to choose none

	Progress func(step string) // hears of each step of the work as it begins; may be nil
}

// The defaults of Options.
const (
	settingSD  = 0.05 // mm
	usualDraws = 2048
)

func (o Options) withDefaults(order *profiles.Order) Options {
	o.SettingSD = cmp.Or(o.SettingSD, order.SettingError, settingSD)
	o.Draws = cmp.Or(o.Draws, usualDraws)
	if o.Progress == nil {
		o.Progress = func(string) {}
	}
	return o
}

// job is one order being planned: what the order and the model say, checked, and
// no result yet.
type job struct {
	ctx      context.Context // ends the work
	order    *profiles.Order
	model    fit.Predictor
	variants []*variant // the order's own strings first
	limits   limits
	target   []float64 // dB, wanted balance by string; its mean is 0
	opt      Options
	points   []float64 // standard normal points: a row of len(target) for each draw
}

func newJob(ctx context.Context, o *profiles.Order, m fit.Predictor, opt Options) (*job, error) {
	set, err := setRow(o)
	if err != nil {
		return nil, err
	}
	return newJobOver(ctx, set, layout.Over(m, o), opt)
}

// newJobOver is newJob for an order whose row of poles was chosen, and a model for its
// pickup.
func newJobOver(ctx context.Context, o *profiles.Order, m fit.Predictor, opt Options) (j *job, err error) {
	opt = opt.withDefaults(o)
	if err := check(o, opt); err != nil {
		return nil, err
	}
	j = &job{ctx: ctx, order: o, model: m, target: o.Target(), opt: opt, points: normalPoints(opt.Draws, len(o.Strings))}
	j.addVariant(o.Set, o.Strings)
	for _, a := range o.Alternatives {
		j.addVariant(a.Name, a.Strings)
	}
	if o.FixedHeights != nil {
		return j, nil
	}
	j.limits, err = newLimits(o, j.stringHeights())
	return j, err
}

// addVariant adds the ordered pickup under another string set.
func (j *job) addVariant(name string, strings []profiles.String) {
	j.variants = append(j.variants, &variant{set: name, model: j.model, setup: setup(j.order, strings), target: j.target, layout: &j.order.Layout})
}

// with is a copy of the job with every variant's setup changed.
func (j *job) with(change func(*fit.Setup)) *job {
	out := *j
	out.variants = nil
	for _, v := range j.variants {
		c, s := *v, *v.setup
		c.setup = &s
		change(&s)
		out.variants = append(out.variants, &c)
	}
	return &out
}

// stringHeights are the strings' undersides, the same for every set.
func (j *job) stringHeights() []float64 { return j.variants[0].setup.StringHeights }

// check refuses an order or options that the arithmetic cannot take. The reader of
// orders has refused most of these before, with a line number.
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

// name is how messages call string i, counted from 0.
func (j *job) name(i int) string { return nameOf(j.order.Strings, i) }

// reaches refuses a pole that reaches its string.
func (j *job) reaches(heights []float64) error {
	for i, h := range heights {
		if s := j.stringHeights()[i]; s-h <= 0 {
			return fmt.Errorf("%s: a pole of %.2f mm reaches the string at %.2f mm", j.name(i), h, s)
		}
	}
	return nil
}

// breach names the limit that a pole of height h under string i breaks; ""
// when it breaks none.
func (j *job) breach(i int, h float64) string {
	o, gap := j.order, j.stringHeights()[i]-h
	switch {
	case h < o.PoleHeightMin-lengthTolerance:
		return profiles.Sprintf("%.2f mm is below %s, %.2f mm", h, lowestAllowed(o), o.PoleHeightMin)
	case h > o.PoleHeightMax+lengthTolerance:
		return profiles.Sprintf("%.2f mm is above %s, %.2f mm", h, highestAllowed(o), o.PoleHeightMax)
	case gap < o.RestGap()-lengthTolerance:
		return profiles.Sprintf("a gap of %.2f mm is less than %s", gap, gapLimit(o))
	}
	return ""
}

// drawMirrored simulates count pickups with these heights under one string set.
// After each pickup comes its mirror image (antithetic draws), so that the mean of
// few pickups is not off to one side.
func (j *job) drawMirrored(v *variant, heights []float64, count int) (sample, error) {
	root, err := v.root(heights, v.slopes(heights), j.opt.SettingSD)
	if err != nil {
		return sample{}, err
	}
	half := newSample(root, j.points, (count+1)/2)
	s := sample{half.n, make([]float64, 0, 2*len(half.rows))}
	for row := half.rows; len(row) > 0; row = row[s.n:] {
		s.rows = append(s.rows, row[:s.n]...)
		for _, x := range row[:s.n] {
			s.rows = append(s.rows, -x)
		}
	}
	return s, nil
}

// drawSamples simulates pickups with these heights under every string set, in the
// order of the variants. Every search draws samples again and again, and ends here when
// the context does.
func (j *job) drawSamples(heights []float64, count int) ([]sample, error) {
	if err := j.ctx.Err(); err != nil {
		return nil, err
	}
	var samples []sample
	for _, v := range j.variants {
		s, err := j.drawMirrored(v, heights, min(count, j.opt.Draws))
		if err != nil {
			return nil, err
		}
		samples = append(samples, s)
	}
	return samples, nil
}
