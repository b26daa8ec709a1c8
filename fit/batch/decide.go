package batch

import (
	"fmt"
	"math"

	"evenpole/fit/level"
	"evenpole/profiles"

	"gonum.org/v1/gonum/stat"
)

func (l *Limits) none() bool { return l.Min == nil && l.Max == nil }

// leastLimit is the least strength, mT, that is taken for a limit: no magnet that a pickup
// is built with reads so little at its face. None reads mostTesla T.
const (
	leastLimit = 5
	mostTesla  = 2
)

func (l *Limits) validate() error {
	for _, x := range []*float64{l.Min, l.Max} {
		switch {
		case x == nil || *x >= leastLimit && !math.IsInf(*x, 0):
		case 1000**x >= leastLimit && *x < mostTesla:
			return refused("limits: expected a strength of %d mT or more, got %g; if that is tesla, say %g", leastLimit, *x, 1000**x)
		default:
			return refused("limits: expected a strength of %d mT or more, got %g", leastLimit, *x)
		}
	}
	if l.Min != nil && l.Max != nil && *l.Min >= *l.Max {
		return refused("limits: expected the least below the most, got %g and %g mT", *l.Min, *l.Max)
	}
	return nil
}

// breach is the side of the limits on which a strength lies outside; "" is within.
func (l *Limits) breach(x float64) string {
	switch {
	case l.Min != nil && x < *l.Min:
		return "below"
	case l.Max != nil && x > *l.Max:
		return "above"
	}
	return ""
}

func (r *Risks) validate() error {
	for _, x := range []float64{r.Acceptable, r.Limiting, r.Producer, r.Consumer} {
		if !(x >= leastShare && x < 0.5) {
			return refused("risks and shares beyond the limits: expected between 0 and 50 %%, got %g %%; less than %g %% cannot be worked out", 100*x, 100*leastShare)
		}
	}
	if r.Acceptable >= r.Limiting {
		return refused("expected an acceptable share beyond the limits below the limiting one, got %g and %g %%", 100*r.Acceptable, 100*r.Limiting)
	}
	return nil
}

// share is the estimate for both limits.
func (l *Limits) share(n int, mean, sd float64) float64 {
	p := 0.0
	if l.Min != nil {
		p += outside(n, (mean-*l.Min)/sd)
	}
	if l.Max != nil {
		p += outside(n, (*l.Max-mean)/sd)
	}
	return p
}

// keepsDistance reports whether a mean is at least so far within both limits. Few
// magnets need so large a k that outside is 0 at a smaller distance than k; the share
// alone would then accept what the k method does not.
func (l *Limits) keepsDistance(mean, distance float64) bool {
	return (l.Min == nil || mean-*l.Min >= distance) && (l.Max == nil || *l.Max-mean >= distance)
}

// rule is how n magnets decide on a batch.
type rule struct {
	n                  int
	k                  float64 // least distance from mean to a limit, in standard deviations
	acceptAt, rejectAt float64 // estimated shares beyond the limits
	last               bool    // what is not accepted is rejected
}

// looking is how a batch is decided on that may be looked at after every magnet: by
// Wald's limits at any number, and otherwise by the plan as soon as that is complete.
type looking struct {
	sampling        // for Wald's limits
	plan     rule   // by the first magnets
	once     int    // magnets that would do for a single look
	early    []rule // by the number of magnets, as they are needed
}

// looking works the plan out.
func (s sampling) looking() (*looking, error) {
	once, _, err := s.plan()
	if err != nil {
		return nil, err
	}
	n, k, err := s.withRiskShare(1 - waldShare).plan()
	if err != nil {
		return nil, err
	}
	return &looking{sampling: s.withRiskShare(waldShare), once: once, plan: rule{n, k, outside(n, k), outside(n, k), true}}, nil
}

// at is Wald's rule for n magnets.
func (d *looking) at(n int) rule {
	for m := len(d.early); m <= n; m++ {
		d.early = append(d.early, rule{})
	}
	if d.early[n].n == 0 {
		accept := d.waldAccept(n)
		d.early[n] = rule{n, accept, outside(n, accept), outside(n, d.waldReject(n)), false}
	}
	return d.early[n]
}

// decide decides by the strengths of magnets in the order in which they were measured,
// and says by which rule. There are at least leastMagnets.
func (d *looking) decide(l *Limits, strengths []float64) (v Answer, share float64, by rule) {
	mean, sd := stat.MeanStdDev(strengths, nil)
	by = d.at(len(strengths))
	if v, share = by.decide(l, mean, sd); v != MeasureMore || len(strengths) < d.plan.n {
		return v, share, by
	}
	if mean, sd = stat.MeanStdDev(strengths[:d.plan.n], nil); sd > 0 {
		v, share = d.plan.decide(l, mean, sd)
		by = d.plan
	}
	return v, share, by
}

func (r rule) decide(l *Limits, mean, sd float64) (v Answer, share float64) {
	share = l.share(r.n, mean, sd)
	switch {
	case share <= r.acceptAt && l.keepsDistance(mean, r.k*sd):
		return Accept, share
	case r.last || share > r.rejectAt:
		return Reject, share
	}
	return MeasureMore, share
}

// decide decides whether the batch keeps its limits.
func (c *characterisation) decide() error {
	l := &c.opt.Limits
	if l.none() {
		return nil
	}
	s := samplingFor(l, c.opt.Risks)
	looking, err := s.looking()
	if err != nil {
		return err
	}
	unknown, plan := level.Figure(math.NaN()), looking.plan
	d := &Decision{Answer: MeasureMore, Limits: *l, Risks: s.Risks, Outside: unknown, AcceptAt: unknown, RejectAt: unknown, Plan: plan.n, PlanK: plan.k, PlanOnce: looking.once, Breaching: []string{}}
	c.Decision = d
	for i := range c.Magnets {
		m := &c.Magnets[i]
		if m.Breach = l.breach(m.Strength()); m.Breach != "" {
			d.Breaching = append(d.Breaching, m.Name)
		}
	}
	values := strengths(c.Magnets)
	mean, sd := stat.MeanStdDev(values, nil)
	if c.Count >= leastMagnets && sd > 0 {
		v, share, by := looking.decide(l, values)
		d.Answer, d.Outside, d.By = v, level.Figure(share), by.n
		if !math.IsInf(by.k, 0) {
			d.AcceptAt = level.Figure(by.acceptAt)
		}
		if by.rejectAt < 1 {
			d.RejectAt = level.Figure(by.rejectAt)
		}
	}
	if d.Answer == MeasureMore {
		d.AtMost = max(plan.n-c.Count, 1)
		d.Likely = looking.likely(l, c.Count, mean, sd)
	}
	return nil
}

// likely is how many more magnets than n decide, if mean and scatter stay what they
// are; all that the plan needs when there is no scatter.
func (d *looking) likely(l *Limits, n int, mean, sd float64) int {
	if !(sd > 0) {
		return max(d.plan.n-n, 1)
	}
	from := max(n, leastMagnets)
	more, _ := firstFrom(from, d.plan.n, func(m int) bool {
		v, _ := d.at(m).decide(l, mean, sd)
		return v != MeasureMore || m >= d.plan.n
	})
	return max(from+more-n, 1)
}

// Sentence says what the decision rests on.
func (d *Decision) Sentence() string {
	within := d.Limits.words() + " is wanted"
	if !d.Outside.Known() {
		return within + fmt.Sprintf("; the share beyond it cannot be estimated from fewer than %d magnets, nor from magnets that all read the same", leastMagnets)
	}
	accepted, rejected := "too few to accept", "too few to reject"
	if d.AcceptAt.Known() {
		accepted = fmt.Sprintf("accepted at %s %% or less", percent(float64(d.AcceptAt)))
	}
	if d.RejectAt.Known() {
		rejected = fmt.Sprintf("rejected above %s %%", percent(float64(d.RejectAt)))
	}
	return within + fmt.Sprintf("; estimated beyond it %s %% of the batch: %s, %s", percent(float64(d.Outside)), accepted, rejected)
}

// percent is a share in percent, to two digits, or whole from 10 % on. A share that no
// batch is large enough to show is "less than 0.001".
func percent(share float64) string {
	if 0 < share && share < 1e-5 {
		return "less than 0.001"
	}
	if share >= 0.1 {
		return fmt.Sprintf("%.0f", 100*share)
	}
	return fmt.Sprintf("%.2g", 100*share)
}

// words are the limits in words.
func (l *Limits) words() string {
	switch {
	case l.Max == nil:
		return profiles.Sprintf("%.1f mT or more", *l.Min)
	case l.Min == nil:
		return profiles.Sprintf("%.1f mT or less", *l.Max)
	}
	return profiles.Sprintf("%.1f to %.1f mT", *l.Min, *l.Max)
}
