package batch

import (
	"fmt"
	"math"

	"evenpole/fit/level"

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

// sampling is a plan by variables for batches whose standard deviation is not
// known, with the producer's and the consumer's risk at the shares of r.
//
// The k method (the idea of ISO 3951-1; not its tables) accepts when the distance
// from mean to limit is at least k standard deviations. The statistic's
// distribution is a noncentral t, so that the k at which either risk is as agreed
// is a one-sided tolerance factor: at or above k(limiting, 1 - consumer's risk)
// the batch can be accepted, below k(acceptable, producer's risk) rejected. The
// first falls and the second rises with the number of magnets; where they meet
// lies the smallest plan that always decides. G. J. Lieberman, G. J. Resnikoff,
// Sampling plans for inspection by variables, J. Amer. Statist. Assoc. 50, 457
// (1955), for the plan and for both limits at once: k turns into a greatest
// estimated share, see outside. From memory. With both limits, k is such that the risks
// hold however the share is split between the sides, see bothlimits.go.
type sampling struct {
	Risks
	both bool // there are two limits
}

// samplingFor is the plan's for limits.
func samplingFor(l *Limits, r Risks) sampling { return sampling{r, l.Min != nil && l.Max != nil} }

func (s sampling) accept(n int) float64 {
	if s.both {
		return acceptBoth(n, s.acceptOne(n), s.Risks)
	}
	return s.acceptOne(n)
}

func (s sampling) reject(n int) float64 {
	if s.both {
		return rejectBoth(n, s.rejectOne(n), s.Risks)
	}
	return s.rejectOne(n)
}

func (s sampling) acceptOne(n int) float64 { return OneSided(n, 1-s.Limiting, 1-s.Consumer) }
func (s sampling) rejectOne(n int) float64 { return OneSided(n, 1-s.Acceptable, s.Producer) }

// mostMagnets is the largest plan that is worth asking for (our rule).
const mostMagnets = 5000

// leastMagnets is the fewest of which a share can be estimated.
const leastMagnets = 3

// plan returns the fewest magnets that always decide, and the k they decide by.
func (s sampling) plan() (n int, k float64, err error) {
	decides := func(n int) bool { return s.accept(n) <= s.reject(n) }
	from, to := leastMagnets, mostMagnets
	if s.both { // takes longer to work out, and hardly more magnets than one limit
		if from, _, err = (sampling{Risks: s.Risks}).plan(); err != nil {
			return 0, 0, err
		}
		for by := 1; ; by *= 2 {
			if to = min(from+by, mostMagnets); to == mostMagnets || decides(to) {
				break
			}
		}
	}
	more, ok := firstFrom(from, to, decides)
	if !ok {
		return 0, 0, refused("it would take more than %d magnets to tell %g %% from %g %% of the batch beyond its limits: let them be further apart",
			mostMagnets, 100*s.Acceptable, 100*s.Limiting)
	}
	n = from + more
	return n, s.accept(n), nil
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

// rule is that for n magnets. From the plan's number on, the batch is accepted or
// rejected.
func (s sampling) rule(n, plan int) rule {
	k := s.accept(n)
	if n >= plan {
		return rule{n, k, outside(n, k), outside(n, k), true}
	}
	return rule{n, k, outside(n, k), outside(n, s.reject(n)), false}
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
	plan, k, err := s.plan()
	if err != nil {
		return err
	}
	unknown := level.Figure(math.NaN())
	d := &Decision{Answer: MeasureMore, Limits: *l, Risks: s.Risks, Outside: unknown, AcceptAt: unknown, RejectAt: unknown, Plan: plan, PlanK: k, Breaching: []string{}}
	c.Decision = d
	for i := range c.Magnets {
		m := &c.Magnets[i]
		if m.Breach = l.breach(m.Strength()); m.Breach != "" {
			d.Breaching = append(d.Breaching, m.Name)
		}
	}
	n := c.Count
	mean, sd := stat.MeanStdDev(strengths(c.Magnets), nil)
	if n >= leastMagnets && sd > 0 {
		rule := s.rule(n, plan)
		v, share := rule.decide(l, mean, sd)
		d.Answer, d.Outside, d.AcceptAt, d.RejectAt = v, level.Figure(share), level.Figure(rule.acceptAt), level.Figure(rule.rejectAt)
	}
	if d.Answer == MeasureMore {
		d.AtMost = max(plan-n, 1)
		d.Likely = s.likely(l, n, plan, mean, sd)
	}
	return nil
}

// likely is how many more magnets than n decide, if mean and scatter stay what they
// are; all that the plan needs when there is no scatter.
func (s sampling) likely(l *Limits, n, plan int, mean, sd float64) int {
	if !(sd > 0) {
		return max(plan-n, 1)
	}
	from := max(n, leastMagnets)
	more, _ := firstFrom(from, plan, func(m int) bool {
		v, _ := s.rule(m, plan).decide(l, mean, sd)
		return v != MeasureMore
	})
	return max(from+more-n, 1)
}

// Sentence says what the decision rests on.
func (d *Decision) Sentence() string {
	within := d.Limits.words() + " is wanted"
	if !d.Outside.Known() {
		return within + fmt.Sprintf("; the share beyond it cannot be estimated from fewer than %d magnets, nor from magnets that all read the same", leastMagnets)
	}
	return within + fmt.Sprintf("; estimated beyond it %s %% of the batch: accepted at %s %% or less, rejected above %s %%",
		percent(float64(d.Outside)), percent(float64(d.AcceptAt)), percent(float64(d.RejectAt)))
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
		return fmt.Sprintf("%.1f mT or more", *l.Min)
	case l.Min == nil:
		return fmt.Sprintf("%.1f mT or less", *l.Max)
	}
	return fmt.Sprintf("%.1f to %.1f mT", *l.Min, *l.Max)
}
