package plan

import (
	"math"
	"slices"

	"evenpole/fit"
	"evenpole/profiles"
)

// moveStep is the step, in mm, in which a pickup's ends are moved: about an
// eighth of a turn of a height screw (common practice).
const moveStep = 0.1

// moved is the job with the pickup's ends raised by so many mm under the first and
// the last string.
func (j *job) moved(first, last float64) *job {
	return j.with(func(s *fit.Setup) {
		s.StringHeights = slices.Clone(s.StringHeights)
		for i := range s.StringHeights {
			along := 0.0
			if n := len(s.StringHeights); n > 1 {
				along = float64(i) / float64(n-1)
			}
			s.StringHeights[i] -= first + (last-first)*along
		}
	})
}

// travels lists by how much an end of the pickup can be raised, in mm.
func (j *job) travels() []float64 {
	var list []float64
	for k := math.Ceil((-j.order.PickupLower - lengthTolerance) / moveStep); k*moveStep <= j.order.PickupRaise+lengthTolerance; k++ {
		list = append(list, profiles.Rounded(k*moveStep, 6))
	}
	return list
}

// placement is the pickup with its ends raised, as move compares it with others.
type placement struct {
	first, last float64 // mm
	job         *job
	deviations  [][]float64 // by variant: mean prediction, dB
	worst       float64     // dB, expected worst deviation
}

// fartherThan reports whether h is moved farther than other.
func (h placement) fartherThan(other placement) bool {
	return math.Abs(h.first)+math.Abs(h.last) > math.Abs(other.first)+math.Abs(other.last)+lengthTolerance
}

// move plans height and tilt of a pickup whose poles cannot be set: it finds the
// placement with the least expected worst deviation, and among those that are
// equally good the one that moves the pickup least. It returns the job with the
// pickup moved.
func (j *job) move(p *Plan) (*job, error) {
	j.opt.Progress("the best height and tilt")
	chosen, cost, err := j.bestPlacement()
	if err != nil {
		return nil, err
	}
	heights := chosen.job.stringHeights()
	p.Move = &Move{RaiseFirst: chosen.first, RaiseLast: chosen.last, StringHeightFirst: heights[0], StringHeightLast: heights[len(heights)-1]}
	if j.reaches(j.order.FixedHeights) == nil {
		unmoved, err := j.forecast(j.order.FixedHeights)
		if err != nil {
			return nil, err
		}
		p.Move.Unmoved = &unmoved
	}
	p.Best, p.Cost = j.order.FixedHeights, cost
	if p.Forecast, err = chosen.job.forecast(j.order.FixedHeights); err != nil {
		return nil, err
	}
	if p.Radius, err = chosen.job.forecast(chosen.job.arc()); err != nil {
		return nil, err
	}
	p.Relaxed = j.relaxTravel(p)
	return chosen.job, nil
}

// bestPlacement chooses a placement, and says by how many dB its expected worst
// deviation exceeds the least.
func (j *job) bestPlacement() (chosen placement, cost float64, err error) {
	all, err := j.placements()
	if err != nil {
		return placement{}, 0, err
	}
	best, at := 0, -1
	for rounds := 0; at != best && rounds < 4; rounds++ {
		at = best
		if err := j.scorePlacements(all, all[at]); err != nil {
			return placement{}, 0, err
		}
		for i, h := range all {
			if h.worst < all[best].worst {
				best = i
			}
		}
	}
	if j.order.Poles == profiles.Blade {
		chosen = narrowest(all, all[best].worst+bladeWithin)
		return chosen, chosen.worst - all[best].worst, nil
	}
	chosen = all[best]
	for _, h := range all {
		if h.worst <= all[best].worst+equalWithin && chosen.fartherThan(h) {
			chosen = h
		}
	}
	return chosen, chosen.worst - all[best].worst, nil
}

// bladeWithin is by how many dB a blade's worst string may be farther off for strings that
// lie closer together: tilt and height alone leave a choice between the two.
const bladeWithin = 0.15

// narrowest is the placement with the least spread of mean predictions, the largest among
// the string sets, of those whose expected worst deviation is within the limit; the one
// that moves the pickup less of two as narrow.
func narrowest(all []placement, limit float64) (chosen placement) {
	least := math.Inf(1)
	for _, h := range all {
		spread := 0.0
		for _, d := range h.deviations {
			spread = max(spread, slices.Max(d)-slices.Min(d))
		}
		if h.worst <= limit && (spread < least-rounding || spread < least+rounding && chosen.fartherThan(h)) {
			chosen, least = h, spread
		}
	}
	return chosen
}

// relaxTravel plans again with each limit of travel that the placement reaches a
// step wider.
func (j *job) relaxTravel(p *Plan) []Relaxed {
	out := []Relaxed{}
	for _, t := range []struct {
		limit string
		used  float64 // mm
		of    func(o *profiles.Order) *float64
	}{
		{"pickup_raise_mm", max(p.Move.RaiseFirst, p.Move.RaiseLast), func(o *profiles.Order) *float64 { return &o.PickupRaise }},
		{"pickup_lower_mm", -min(p.Move.RaiseFirst, p.Move.RaiseLast), func(o *profiles.Order) *float64 { return &o.PickupLower }},
	} {
		k, o := *j, *j.order
		k.order = &o
		limit := t.of(&o)
		r := Relaxed{Limit: t.limit, From: *limit, To: *limit + moveStep}
		if t.used < r.From-moveStep/2 {
			continue
		}
		*limit = r.To
		h, _, err := k.bestPlacement()
		if err != nil {
			continue
		}
		if got, err := h.job.forecast(o.FixedHeights); err == nil {
			out = append(out, r.with(p, got))
		}
	}
	return out
}

// placements lists where the pickup can hang without a pole too near its string,
// with the mean prediction of each.
func (j *job) placements() ([]placement, error) {
	var all []placement
	heights, nearest := j.order.FixedHeights, math.Inf(1)
	for _, first := range j.travels() {
		if err := j.ctx.Err(); err != nil {
			return nil, err
		}
		for _, last := range j.travels() {
			if len(heights) == 1 && first != last {
				continue
			}
			h := placement{first: first, last: last, job: j.moved(first, last)}
			if short := h.job.shortOfGap(heights); short > lengthTolerance {
				nearest = min(nearest, short)
				continue
			}
			for _, v := range h.job.variants {
				ln, err := v.levels(heights)
				if err != nil {
					return nil, err
				}
				h.deviations = append(h.deviations, v.deviations(v.lessTarget(ln)))
			}
			all = append(all, h)
		}
	}
	if len(all) == 0 {
		return nil, refused(j.order, "pole_heights_fixed_mm: however the pickup is moved, a pole comes nearer to its string than %s: by %.2f mm at the best; "+
			"allow more of pickup_lower_mm or a smaller gap", gapLimit(j.order), nearest)
	}
	return all, nil
}

// shortOfGap is by how much, in mm, the smallest gap is less than the order allows;
// negative when it is more.
func (j *job) shortOfGap(heights []float64) float64 {
	short := math.Inf(-1)
	for i, s := range j.stringHeights() {
		short = max(short, j.order.RestGap()-(s-heights[i]))
	}
	return short
}

// scorePlacements fills in the expected worst deviation of each placement, in samples
// drawn at one of them.
func (j *job) scorePlacements(all []placement, at placement) error {
	samples, err := at.job.drawSamples(j.order.FixedHeights, searchDraws)
	if err != nil {
		return err
	}
	for i := range all {
		all[i].worst = 0
		for set, c := range samples {
			all[i].worst = max(all[i].worst, c.meanWorst(all[i].deviations[set], math.Inf(1)))
		}
	}
	return nil
}

// arc is the stagger on the strings' arc from the lowest height, not rounded to what
// the shop can set.
func (j *job) arc() []float64 {
	lowest := slices.Min(j.stringHeights())
	var heights []float64
	for _, s := range j.stringHeights() {
		heights = append(heights, j.order.PoleHeightMin+s-lowest)
	}
	return heights
}
