package plan

import (
	"fmt"
	"math"
	"slices"

	"evenpole/fit"
	"evenpole/profiles"
)

// Move is how a pickup whose poles stand as they are is to hang: how far each of
// its ends is raised from where the order has it.
type Move struct {
	RaiseFirst        float64 `json:"raise_first_mm"` // under string 1; negative: lowered
	RaiseLast         float64 `json:"raise_last_mm"`
	StringHeightFirst float64 `json:"string_height_first_mm"` // over the bobbin plane, then
	StringHeightLast  float64 `json:"string_height_last_mm"`

	Unmoved *Judgement `json:"unmoved"` // where the order has it; nil when a pole would reach its string
}

// moves reports whether the pickup is to hang elsewhere than it does.
func (m *Move) moves() bool { return m.RaiseFirst != 0 || m.RaiseLast != 0 }

// moveStep is the step, in mm, in which a pickup's ends are moved: about an
// eighth of a turn of a height screw (common practice).
const moveStep = 0.1

// moved is the job with the pickup's ends raised by so many mm.
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
	for k := math.Ceil((-j.order.PickupLower - hair) / moveStep); k*moveStep <= j.order.PickupRaise+hair; k++ {
		list = append(list, math.Round(k*moveStep*1e6)/1e6+0)
	}
	return list
}

// hung is the pickup with its ends raised, as the search compares it.
type hung struct {
	first, last float64 // mm
	job         *job
	means       [][]float64 // by bed: mean deviations, dB
	worst       float64     // dB, expected worst deviation
}

// farther reports whether h is moved farther than other.
func (h hung) farther(other hung) bool {
	return math.Abs(h.first)+math.Abs(h.last) > math.Abs(other.first)+math.Abs(other.last)+hair
}

// move plans height and tilt of a pickup whose poles stand as they are: the
// least expected worst deviation, and of those that serve equally the one that
// is moved least. It returns the job with the pickup so.
func (j *job) move(p *Plan) (*job, error) {
	chosen, cost, err := j.hang()
	if err != nil {
		return nil, err
	}
	heights := chosen.job.stringHeights()
	p.Move = &Move{RaiseFirst: chosen.first, RaiseLast: chosen.last, StringHeightFirst: heights[0], StringHeightLast: heights[len(heights)-1]}
	if j.reaches(j.order.FixedHeights) == nil {
		unmoved, err := j.judge(j.order.FixedHeights)
		if err != nil {
			return nil, err
		}
		p.Move.Unmoved = &unmoved
	}
	p.Best, p.Cost = j.order.FixedHeights, cost
	if p.Judgement, err = chosen.job.judge(j.order.FixedHeights); err != nil {
		return nil, err
	}
	if p.Radius, err = chosen.job.judge(chosen.job.arc()); err != nil {
		return nil, err
	}
	p.Relaxed = j.relaxTravel(p)
	return chosen.job, nil
}

// hang chooses how the pickup is to hang, and says what the choice gives away to
// the best one in its expected worst deviation.
func (j *job) hang() (chosen hung, cost float64, err error) {
	all, err := j.hangings()
	if err != nil {
		return hung{}, 0, err
	}
	best, at := 0, -1
	for rounds := 0; at != best && rounds < 4; rounds++ {
		at = best
		if err := j.weigh(all, all[at]); err != nil {
			return hung{}, 0, err
		}
		for i, h := range all {
			if h.worst < all[best].worst {
				best = i
			}
		}
	}
	chosen = all[best]
	for _, h := range all {
		if h.worst <= all[best].worst+alike && chosen.farther(h) {
			chosen = h
		}
	}
	return chosen, chosen.worst - all[best].worst, nil
}

// relaxTravel hangs the pickup again with the travel that it uses up a step
// longer.
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
		h, _, err := k.hang()
		if err != nil {
			continue
		}
		if got, err := h.job.judge(o.FixedHeights); err == nil {
			out = append(out, r.with(p, got))
		}
	}
	return out
}

// hangings lists how the pickup can hang without a pole too near its string,
// with what the model predicts of it.
func (j *job) hangings() ([]hung, error) {
	var all []hung
	heights, nearest := j.order.FixedHeights, math.Inf(1)
	for _, first := range j.travels() {
		for _, last := range j.travels() {
			if len(heights) == 1 && first != last {
				continue
			}
			h := hung{first: first, last: last, job: j.moved(first, last)}
			if short := h.job.shortOfGap(heights); short > hair {
				nearest = min(nearest, short)
				continue
			}
			for _, b := range h.job.beds {
				v, err := b.levels(heights)
				if err != nil {
					return nil, err
				}
				h.means = append(h.means, b.deviations(b.lessTarget(v)))
			}
			all = append(all, h)
		}
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("pole_heights_fixed_mm: however the pickup is moved, a pole comes nearer to its string than %s: by %.2f mm at the best; "+
			"allow more of pickup_lower_mm or a smaller gap", gapLimit(j.order), nearest)
	}
	return all, nil
}

// shortOfGap is by how much, in mm, the nearest string lacks its gap.
func (j *job) shortOfGap(heights []float64) float64 {
	short := math.Inf(-1)
	for i, s := range j.stringHeights() {
		short = max(short, j.order.RestGap()-(s-heights[i]))
	}
	return short
}

// weigh fills in the expected worst deviation of each in the clouds of one.
func (j *job) weigh(all []hung, of hung) error {
	clouds, err := of.job.cloudsOf(j.order.FixedHeights, searched)
	if err != nil {
		return err
	}
	for i := range all {
		all[i].worst = 0
		for b, c := range clouds {
			all[i].worst = max(all[i].worst, c.worst(all[i].means[b], math.Inf(1)))
		}
	}
	return nil
}

// arc is poles that follow the strings from the lowest height, in any step.
func (j *job) arc() []float64 {
	lowest := slices.Min(j.stringHeights())
	var heights []float64
	for _, s := range j.stringHeights() {
		heights = append(heights, j.order.PoleHeightMin+s-lowest)
	}
	return heights
}
