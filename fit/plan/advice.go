package plan

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenpole/profiles"
)

// flatChance is the chance of meeting from which flat tops are advised. From nearlyFlat
// on a plan says how near they are: what the model does not know may be all that they lack.
const (
	flatChance = 0.9
	nearlyFlat = 0.7
)

// asLikely is what chances to meet differ by that are the same: what usualDraws leave open.
const asLikely = 0.01

// advise gives the short answer. An order is out of reach when the plan's mean
// prediction leaves a string out of tolerance: Make would have taken any stagger that
// leaves none out, had it found one. All string sets of the order count.
func (p *Plan) advise() Advice {
	switch {
	case p.Flat != nil && p.Flat.leastSure().Meets >= flatChance:
		return FlatIsEnough
	case len(p.outside(p.Tolerance)) > 0:
		return NotReachable
	case p.Move == nil:
		return UseStagger
	case p.Move.moves() && !p.hangsAsLikely():
		return MovePickup
	}
	return LeavePickup
}

// hangsAsLikely reports whether a pickup is as likely to meet as it hangs. One that is
// expected not to is none: of two small chances nothing is told.
func (p *Plan) hangsAsLikely() bool {
	as := p.Move.Unmoved
	return as != nil && len(as.outside(p.Tolerance)) == 0 && as.leastSure().Meets > p.leastSure().Meets-asLikely
}

// outsideString is a string whose mean prediction is out of tolerance.
type outsideString struct {
	set       string // "" = the order's own
	i         int    // counted from 0
	deviation float64
}

// outside lists the strings whose mean prediction is out of a tolerance, dB.
func (g *Forecast) outside(tolerance float64) []outsideString {
	var out []outsideString
	for _, s := range g.bySet() {
		for i, d := range s.Deviation {
			if math.Abs(d) > tolerance+rounding {
				out = append(out, outsideString{s.Name, i, d})
			}
		}
	}
	return out
}

// warnings says what a builder should know before trusting the plan.
func (j *job) warnings(p *Plan) []string {
	var w []string
	for _, v := range j.variants {
		for _, own := range j.model.Warnings(v.setup, p.Heights) {
			if !slices.Contains(w, own) {
				w = append(w, own)
			}
		}
	}
	w = append(w, j.blade()...)
	w = append(w, j.ownWraps()...)
	w = append(w, j.estimatedCores()...)
	w = append(w, j.centring()...)
	w = append(w, j.bindingLimits(p)...)
	w = append(w, j.magnetPull(p)...)
	w = append(w, j.poorChance(p)...)
	w = append(w, p.nearlyEnough()...)
	w = append(w, j.flatIsNearer(p)...)
	w = append(w, p.asItHangs()...)
	return append(w, j.breaches()...)
}

// Gaps, in mm at rest, under which the pull of a rod magnet is felt: a string
// then beats, sounds sharp or flat high up the neck, or loses sustain. Common
// practice: some 5/64 in under wound strings, 1/16 in under plain ones. Steel
// poles over a bar magnet carry a weaker field and pull less.
const (
	pullWound = 2.0
	pullPlain = 1.6
)

// magnetPull names the strings that come so near to a magnet that it pulls on them.
// A string counts as wound when it is wound in any set.
func (j *job) magnetPull(p *Plan) []string {
	if j.order.Poles != profiles.Rod {
		return nil
	}
	var near []string
	for i := range j.order.Strings {
		least := pullPlain
		if slices.ContainsFunc(j.variants, func(v *variant) bool { return !v.setup.Strings[i].Plain() }) {
			least = pullWound
		}
		if p.Gaps[i] < least-0.005 { // smaller as it is printed
			near = append(near, profiles.Sprintf("%s (gap %.2f mm, %.1f mm wanted)", j.name(i), p.Gaps[i], least))
		}
	}
	if near == nil {
		return nil
	}
	return []string{"magnet pull gets large: " + strings.Join(near, ", ") +
		"; common practice, for strings at rest over rod magnets: listen for beats and wrong pitch high up the neck, or allow a larger min_gap_mm"}
}

// blade says what a blade leaves to be set.
func (j *job) blade() []string {
	if j.order.Poles != profiles.Blade {
		return nil
	}
	return []string{"a blade gives no string a height of its own: what can be set is how high the whole pickup hangs and how it is tilted, and the balance that is left is the strings' and the blade's; a blade whose top is curved, or another string set, changes it"}
}

// ownWraps warns of wraps, in any string set, that the handbook does not know.
func (j *job) ownWraps() []string {
	var all []profiles.String
	for _, v := range j.variants {
		all = append(all, v.setup.Strings...)
	}
	var out []string
	for _, w := range profiles.OwnWraps(all) {
		out = append(out, profiles.OwnWrapWarning(w))
	}
	return out
}

func (j *job) estimatedCores() []string {
	var names []string
	for k, v := range j.variants {
		for i, s := range v.setup.Strings {
			switch {
			case !s.CoreEstimated:
			case k == 0:
				names = append(names, j.name(i))
			default:
				names = append(names, fmt.Sprintf("%s of %q", j.name(i), v.set))
			}
		}
	}
	if names == nil {
		return nil
	}
	return []string{"core estimated from the gauge: " + strings.Join(names, ", ") +
		"; measure the bare core beside the ball end with a caliper and order with it"}
}

// centring says that the offsets' mean was taken off, when there was one.
func (j *job) centring() []string {
	if note := j.order.CentringNote(); note != "" {
		return []string{note}
	}
	return nil
}

// bindingLimits names the strings that a limit keeps from the level of the others.
func (j *job) bindingLimits(p *Plan) []string {
	var w []string
	for _, h := range j.limitedStrings(p) {
		way := "higher"
		if h.more < 0 {
			way = "lower"
		}
		w = append(w, profiles.Sprintf("%s: %s keeps its pole at %.2f mm; about %.1f mm %s would bring it to the others",
			j.name(h.i), h.limit, p.Heights[h.i], math.Abs(h.more), way))
	}
	return w
}

// poorChance says why the plan is unlikely to meet the order.
func (j *job) poorChance(p *Plan) []string {
	if out := p.outside(p.Tolerance); len(out) > 0 {
		var names []string
		for _, m := range out {
			name := profiles.Sprintf("%s at %+.2f dB", j.name(m.i), m.deviation)
			if m.set != "" {
				name += fmt.Sprintf(" with %q", m.set)
			}
			names = append(names, name)
		}
		what := "stagger"
		if p.Move != nil {
			what = "height and tilt of the pickup"
		}
		return []string{fmt.Sprintf("no "+what+" within the limits is expected to keep every string within %g dB: %s",
			p.Tolerance, strings.Join(names, ", "))}
	}
	least := p.leastSure()
	if least.Meets >= 0.5 {
		return nil
	}
	with := ""
	if least.Name != "" {
		with = fmt.Sprintf(" with %q", least.Name)
	}
	cause := "readings of more test pickups and matched magnets raise it"
	if i := farthest(least.Deviation); math.Abs(least.Deviation[i]) > p.Tolerance/2 {
		cause = profiles.Sprintf("the limits leave %s at %+.1f dB", j.name(i), least.Deviation[i])
	}
	return []string{fmt.Sprintf("the chance that every string is within %g dB is only %.0f %%%s: %s", p.Tolerance, 100*least.Meets, with, cause)}
}

// nearlyEnough says how near flat tops are to being enough, and what would decide.
func (p *Plan) nearlyEnough() []string {
	if p.Flat == nil || p.Advice == FlatIsEnough {
		return nil
	}
	least := p.Flat.leastSure()
	if least.Meets < nearlyFlat {
		return nil
	}
	with := ""
	if least.Name != "" {
		with = fmt.Sprintf(" with %q", least.Name)
	}
	return []string{profiles.Sprintf("flat tops are nearly enough: they keep every string within %g dB with a chance of %.0f %%%s, and from %.0f %% on they are advised; a pickup with flat tops at %.2f mm, captured under these strings, would decide",
		p.Tolerance, 100*least.Meets, with, 100*flatChance, p.Flat.Height)}
}

// flatIsNearer says why flat tops are not planned where their worst string is expected nearer
// to its target than the plan's.
func (j *job) flatIsNearer(p *Plan) []string {
	if p.Flat == nil || p.Flat.MaxWorst() > p.MaxWorst()-equalWithin {
		return nil
	}
	d := p.Flat.Deviation
	for _, s := range p.Flat.bySet() {
		if i := farthest(s.Deviation); math.Abs(s.Deviation[i]) > math.Abs(d[farthest(d)]) {
			d = s.Deviation
		}
	}
	i := farthest(d)
	return []string{profiles.Sprintf("flat tops come %.1f dB nearer at the worst string, and are not planned: they are expected to leave %s at %+.2f dB, and %g dB is allowed",
		p.MaxWorst()-p.Flat.MaxWorst(), j.name(i), d[i], p.Tolerance)}
}

// asItHangs says why a pickup is moved whose worst string is expected nearer to its target as
// it hangs, and why one is not that would be for its worst string.
func (p *Plan) asItHangs() []string {
	if p.Move == nil || !p.Move.moves() || p.Move.Unmoved == nil {
		return nil
	}
	as, leave := p.Move.Unmoved, ""
	if p.Advice == LeavePickup {
		leave = profiles.Sprintf("it need not be moved: as it hangs every string is within %g dB with a chance of %.0f %%, moved with one of %.0f %%", p.Tolerance, 100*as.leastSure().Meets, 100*p.leastSure().Meets)
	}
	if as.MaxWorst() > p.MaxWorst()-equalWithin {
		if leave == "" {
			return nil
		}
		return []string{leave}
	}
	nearer := fmt.Sprintf("as it hangs the pickup comes %.1f dB nearer at the worst string: it is moved for strings that lie closer together, %.1f dB from loudest to quietest in place of %.1f dB, by the mean prediction",
		p.MaxWorst()-as.MaxWorst(), p.meanSpread(), as.meanSpread())
	if leave != "" {
		nearer += "; yet " + leave
	}
	return []string{nearer}
}

// meanSpread is the spread of the mean predictions, dB, the largest among the string sets.
func (g *Forecast) meanSpread() float64 {
	spread := 0.0
	for _, s := range g.bySet() {
		spread = max(spread, slices.Max(s.Deviation)-slices.Min(s.Deviation))
	}
	return spread
}

// farthest is the string, counted from 0, whose mean prediction is farthest off its
// target.
func farthest(deviations []float64) int {
	w := 0
	for i, d := range deviations {
		if math.Abs(d) > math.Abs(deviations[w]) {
			w = i
		}
	}
	return w
}

// breaches names the limits that are broken by staggers that the order compares.
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

// CautionsOf are the cautions for all poles of an order.
func CautionsOf(o *profiles.Order) []string {
	out := Cautions(o.Poles)
	if c := o.Layout.Coil; c != nil {
		for _, text := range Cautions(c.Poles) {
			if !slices.Contains(out, text) {
				out = append(out, text)
			}
		}
	}
	return out
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
	case profiles.Blade:
		return []string{magnets}
	default:
		return []string{
			"turn screws in small steps and count the turns; never force one that binds",
			magnets,
		}
	}
}
