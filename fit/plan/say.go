package plan

import (
	"fmt"
	"math"
	"strings"

	"evenpole/profiles"

	"gonum.org/v1/gonum/stat"
)

// advise gives the short answer. Out of reach is what the mean prediction of
// the plan leaves out of tolerance: Make would have taken any stagger found that
// does not.
func (p *Plan) advise() Advice {
	switch {
	case p.Flat != nil && p.Flat.Meets >= enough:
		return FlatIsEnough
	case len(p.outside()) > 0:
		return NotReachable
	}
	return UseStagger
}

// outside lists the strings, counted from 0, whose mean prediction is out of
// tolerance.
func (p *Plan) outside() []int {
	var out []int
	for i, d := range p.Deviation {
		if math.Abs(d) > p.Tolerance+1e-9 {
			out = append(out, i)
		}
	}
	return out
}

// warnings says what a builder should know before trusting the plan.
func (j *job) warnings(p *Plan) []string {
	var w []string
	w = append(w, j.model.Warnings(j.setup, p.Heights)...)
	w = append(w, j.estimatedCores()...)
	w = append(w, j.liftedTarget()...)
	w = append(w, j.bindingLimits(p)...)
	w = append(w, j.poorChance(p)...)
	return append(w, j.breaches()...)
}

func (j *job) estimatedCores() []string {
	var names []string
	for i, s := range j.order.Strings {
		if s.CoreEstimated {
			names = append(names, j.name(i))
		}
	}
	if names == nil {
		return nil
	}
	return []string{"core estimated from the gauge: " + strings.Join(names, ", ") +
		"; measure the bare core beside the ball end with a caliper and order with core_mm"}
}

// liftedTarget speaks up when offsets leave every string with a good part of
// its tolerance used up.
func (j *job) liftedTarget() []string {
	m := stat.Mean(j.offset, nil)
	if math.Abs(m) <= j.order.Tolerance/4 {
		return nil
	}
	return []string{fmt.Sprintf("offset_db averages %+.2f dB, but balance averages 0: every deviation carries %+.2f dB; centre the offsets", m, -m)}
}

// bindingLimits names the strings that a limit keeps from where the others are.
func (j *job) bindingLimits(p *Plan) []string {
	const worthwhile = 0.1 // mm
	var w []string
	middle := stat.Mean(p.Deviation, nil)
	for i, h := range p.Heights {
		more := 0.1 * (middle - p.Deviation[i]) / p.Slope[i] // mm
		highest := j.limits.grid[j.limits.room[i]-1]
		switch {
		case p.Slope[i] == 0: // no height helps
		case h == highest && more > worthwhile:
			w = append(w, fmt.Sprintf("%s: %s keeps its pole at %.2f mm; about %.1f mm higher would bring it to the others", j.name(i), j.upperLimit(i), h, more))
		case h == j.limits.grid[0] && more < -worthwhile:
			w = append(w, fmt.Sprintf("%s: %s keeps its pole at %.2f mm; about %.1f mm lower would bring it to the others", j.name(i), lowerLimit(j.order), h, -more))
		}
	}
	return w
}

func (j *job) upperLimit(i int) string {
	switch {
	case j.limits.room[i] < len(j.limits.grid):
		return "min_gap_mm"
	case j.order.PoleHeights != nil:
		return "the highest of pole_heights_mm"
	}
	return "pole_height_max_mm"
}

// lowerLimit names what keeps all poles from being lower.
func lowerLimit(o *profiles.Order) string {
	if o.PoleHeights != nil {
		return "the lowest of pole_heights_mm"
	}
	return "pole_height_min_mm"
}

// poorChance says why a plan is not likely to meet.
func (j *job) poorChance(p *Plan) []string {
	if out := p.outside(); len(out) > 0 {
		var names []string
		for _, i := range out {
			names = append(names, fmt.Sprintf("%s at %+.1f dB", j.name(i), p.Deviation[i]))
		}
		return []string{fmt.Sprintf("no stagger within the limits is expected to keep every string within %.1f dB: %s",
			p.Tolerance, strings.Join(names, ", "))}
	}
	if p.Meets >= 0.5 {
		return nil
	}
	cause := "readings of more test pickups and matched magnets raise it"
	if i := p.worst(); math.Abs(p.Deviation[i]) > p.Tolerance/2 {
		cause = fmt.Sprintf("the limits leave %s at %+.1f dB", j.name(i), p.Deviation[i])
	}
	return []string{fmt.Sprintf("the chance that every string is within %.1f dB is only %.0f %%: %s", p.Tolerance, 100*p.Meets, cause)}
}

// worst is the string, counted from 0, whose mean prediction is farthest off
// its target.
func (p *Plan) worst() int {
	w := 0
	for i, d := range p.Deviation {
		if math.Abs(d) > math.Abs(p.Deviation[w]) {
			w = i
		}
	}
	return w
}

// breaches names the limits that staggers of the order's own break.
func (j *job) breaches() []string {
	var w []string
	for _, c := range j.order.Compare {
		for i, h := range c.Heights {
			if b := j.breach(i, h); b != "" {
				w = append(w, fmt.Sprintf("compare %q: %s: %s", c.Name, j.name(i), b))
			}
		}
	}
	return w
}

// Cautions are what must stand beside pole heights for poles of this kind.
// All are common practice.
func Cautions(kind profiles.PoleKind) []string {
	magnets := "strong magnets: mind your fingers, and keep them away from pacemakers and other implants"
	switch kind {
	case profiles.Rod:
		return []string{
			"rod magnets are set before the coil is wound: never press, pull or hammer a pole of a wound coil, it breaks the wire",
			magnets,
		}
	case profiles.Slug:
		return []string{
			"slugs are set before the coil is wound: never press or hammer a slug of a wound coil",
			magnets,
		}
	default:
		return []string{
			"turn screws in small steps and count the turns; never force one that binds",
			magnets,
		}
	}
}
