package plan

import (
	"math"
	"slices"

	"evenpole/profiles"

	"gonum.org/v1/gonum/stat"
)

// Relaxed is what a plan would be were one limit of the order a step wider, or
// one more length in stock.
type Relaxed struct {
	Limit  string  `json:"limit"` // key of the order
	From   float64 `json:"from_mm"`
	To     float64 `json:"to_mm"`
	Worst  float64 `json:"worst_db"` // expected worst deviation then, under the strings that suit least
	Gain   float64 `json:"gain_db"`  // by how much that is less than now
	Spread float64 `json:"spread_db"`
	Meets  float64 `json:"meets"`
}

// usualStep is by how much, in mm, a limit is relaxed where the order has no
// step of its own.
const usualStep = 0.25

// worthTelling is the gain, dB, from which a wider limit is worth telling.
const worthTelling = 0.005

// held is a string that a limit keeps from where the others are.
type held struct {
	i     int
	limit string
	more  float64 // mm that its pole would have to go on, negative = lower
}

// held lists the strings that a limit keeps from where the others are.
func (j *job) held(p *Plan) []held {
	const worthwhile = 0.1 // mm
	var out []held
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
			out = append(out, held{i, j.upperLimit(i), more})
		case h == j.limits.grid[0] && more < -worthwhile:
			out = append(out, held{i, lowerLimit(j.order), more})
		}
	}
	return out
}

// halfway is, by string, half-way between its highest deviation and its lowest
// under the string sets that the poles serve.
func (p *Plan) halfway() []float64 {
	out := make([]float64, len(p.Heights))
	for i := range out {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, s := range p.each() {
			lo, hi = min(lo, s.Deviation[i]), max(hi, s.Deviation[i])
		}
		out[i] = (lo + hi) / 2
	}
	return out
}

// The limits that can hold a string, as messages name them.
const (
	limitGap     = "min_gap_mm"
	limitMax     = "pole_height_max_mm"
	limitMin     = "pole_height_min_mm"
	limitTallest = "the highest of pole_heights_mm"
	limitLowest  = "the lowest of pole_heights_mm"
)

func (j *job) upperLimit(i int) string {
	switch {
	case j.limits.room[i] < len(j.limits.grid):
		return limitGap
	case j.order.PoleHeights != nil:
		return limitTallest
	}
	return limitMax
}

// lowerLimit names what keeps all poles from being lower.
func lowerLimit(o *profiles.Order) string {
	if o.PoleHeights != nil {
		return limitLowest
	}
	return limitMin
}

// relax plans again with each limit that holds a string a step wider, and says
// where that buys anything.
func (j *job) relax(p *Plan) []Relaxed {
	out := []Relaxed{}
	var done []string
	try := func(r Relaxed, wider *profiles.Order) {
		got, err := j.again(wider)
		if r = r.with(p, got); err == nil && r.Gain > worthTelling {
			out = append(out, r)
		}
	}
	for _, h := range j.held(p) {
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

// with fills in what a plan under the wider limit is expected to be.
func (r Relaxed) with(p *Plan, then Judgement) Relaxed {
	r.Worst, r.Spread, r.Meets = then.MostWorst(), then.Spread, then.leastMeets()
	r.Gain = p.MostWorst() - r.Worst
	return r
}

// between is the order with one more length in stock, between two that there are:
// the one that would bring the string that is farthest off to the others. The
// order is nil when none is wanted.
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

// wider is the order with a limit a step wider: a step of the shop's, or one
// more length in stock, as far off as the last two are from each other.
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

// again is the judgement of the best stagger for a changed order.
func (j *job) again(o *profiles.Order) (Judgement, error) {
	k := *j
	k.order = o
	var err error
	if k.limits, err = newLimits(o, j.stringHeights()); err != nil {
		return Judgement{}, err
	}
	s, err := k.newSearch()
	if err != nil {
		return Judgement{}, err
	}
	best, err := s.best()
	if err != nil {
		return Judgement{}, err
	}
	return k.judge(k.limits.heights(best))
}
