package plan

import (
	"math"
	"slices"

	"evenpole/profiles"

	"gonum.org/v1/gonum/stat"
)

// usualStep is by how much, in mm, a limit is relaxed when the order has no step of
// its own.
const usualStep = 0.25

// worthTelling is the least gain, dB, for which a wider limit is listed.
const worthTelling = 0.005

// limitedString is a string that a limit keeps from the level of the others.
type limitedString struct {
	i     int
	limit string
	more  float64 // mm that its pole would have to move beyond the limit; negative is lower
}

// limitedStrings lists the strings that a limit keeps from the level of the others.
func (j *job) limitedStrings(p *Plan) []limitedString {
	const worthwhile = 0.1 // mm
	var out []limitedString
	if len(j.limits.grid) == 0 {
		return nil
	}
	off := p.halfway()
	middle := stat.Mean(off, nil)
	for i, h := range p.Heights {
		more := 0.1 * (middle - off[i]) / p.Slope[i]
		highest := j.limits.grid[j.limits.room[i]-1]
		switch {
		case p.Slope[i] == 0: // no height helps
		case h == highest && more > worthwhile:
			out = append(out, limitedString{i, j.upperLimit(i), more})
		case h == j.limits.grid[0] && more < -worthwhile:
			out = append(out, limitedString{i, lowerLimit(j.order), more})
		}
	}
	return out
}

// halfway is, by string, the middle between its highest and its lowest deviation
// among the string sets.
func (p *Plan) halfway() []float64 {
	out := make([]float64, len(p.Heights))
	for i := range out {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, s := range p.bySet() {
			lo, hi = min(lo, s.Deviation[i]), max(hi, s.Deviation[i])
		}
		out[i] = (lo + hi) / 2
	}
	return out
}

func (j *job) upperLimit(i int) string {
	switch {
	case j.limits.room[i] < len(j.limits.grid):
		return limitGap
	case j.order.PoleHeights != nil:
		return limitTallest
	}
	return limitMax
}

// relax plans again with each limit that keeps a string from the others a step
// wider, and lists the limits for which that improves the plan.
func (j *job) relax(p *Plan) []Relaxed {
	out := []Relaxed{}
	var done []string
	try := func(r Relaxed, wider *profiles.Order) {
		j.opt.Progress("what a wider " + r.Limit + " would gain")
		got, err := j.replan(wider)
		if r = r.with(p, got); err == nil && r.Gain > worthTelling {
			out = append(out, r)
		}
	}
	for _, h := range j.limitedStrings(p) {
		if !slices.Contains(done, h.limit) {
			done = append(done, h.limit)
			try(j.wider(h.limit))
		}
	}
	if r, o := j.between(p); o != nil {
		try(r, o)
	}
	return out
}

// with fills in the forecast of the plan under the wider limit.
func (r Relaxed) with(p *Plan, then Forecast) Relaxed {
	r.Worst, r.Spread, r.Meets = then.MaxWorst(), then.worstSet().Spread, then.leastSure().Meets
	r.Gain = p.MaxWorst() - r.Worst
	return r
}

// between is the order with one more length in stock, between two that there are:
// the length that would bring the string that is farthest off to the others' level.
// The order is nil when no length would help.
func (j *job) between(p *Plan) (Relaxed, *profiles.Order) {
	const worthwhile = 0.1 // mm
	if j.order.PoleHeights == nil {
		return Relaxed{}, nil
	}
	off := p.halfway()
	middle, far := stat.Mean(off, nil), 0
	for i, d := range off {
		if math.Abs(d-middle) > math.Abs(off[far]-middle) {
			far = i
		}
	}
	from := p.Heights[far]
	to := math.Round((from+0.1*(middle-off[far])/p.Slope[far])*20) / 20 // 0.05 mm is as fine as is set
	if !(math.Abs(to-from) > worthwhile) || to < j.limits.grid[0] || to > j.limits.grid[len(j.limits.grid)-1] {
		return Relaxed{}, nil
	}
	o := *j.order
	o.PoleHeights = append(slices.Clone(o.PoleHeights), to)
	return Relaxed{Limit: "pole_heights_mm", From: from, To: to}, &o
}

// wider is the order with a limit a step wider: a step of the shop's, or one more
// length in stock, as far from the last as the last two are from each other.
func (j *job) wider(limit string) (Relaxed, *profiles.Order) {
	o, grid := *j.order, j.limits.grid
	step := o.PoleHeightStep
	if step == 0 {
		step = usualStep
	}
	last := len(grid) - 1
	var r Relaxed
	switch limit {
	case limitGap:
		r = Relaxed{Limit: limit, From: o.MinGap, To: max(0, o.MinGap-step)}
		o.MinGap = r.To
	case limitMax:
		r = Relaxed{Limit: limit, From: o.PoleHeightMax, To: o.PoleHeightMax + step}
		o.PoleHeightMax = r.To
	case limitMin:
		r = Relaxed{Limit: limit, From: o.PoleHeightMin, To: o.PoleHeightMin - step}
		o.PoleHeightMin = r.To
	case limitTallest:
		if last > 0 {
			step = grid[last] - grid[last-1]
		}
		r = Relaxed{Limit: "pole_heights_mm", From: grid[last], To: grid[last] + step}
		o.PoleHeightMax = math.Max(o.PoleHeightMax, r.To)
		o.PoleHeights = append(slices.Clone(grid), r.To)
	case limitLowest:
		if last > 0 {
			step = grid[1] - grid[0]
		}
		r = Relaxed{Limit: "pole_heights_mm", From: grid[0], To: grid[0] - step}
		o.PoleHeightMin = math.Min(o.PoleHeightMin, r.To)
		o.PoleHeights = append(slices.Clone(grid), r.To)
	}
	return r, &o
}

// replan is the forecast of the best stagger for a changed order.
func (j *job) replan(o *profiles.Order) (Forecast, error) {
	k := *j
	k.order = o
	var err error
	if k.limits, err = newLimits(o, j.stringHeights()); err != nil {
		return Forecast{}, err
	}
	s, err := k.newSearch()
	if err != nil {
		return Forecast{}, err
	}
	best, err := s.best()
	if err != nil {
		return Forecast{}, err
	}
	return k.forecast(k.limits.heights(best))
}
