package drift

import (
	"evenpole/fit/level"

	"gonum.org/v1/gonum/stat"
)

// panel is a panel in the making.
type panel struct {
	Panel
	chart *Chart
}

func (c *Chart) panel(name string) *panel { return &panel{Panel{Name: name}, c} }

// point adds a point and its limits.
func (p *panel) point(value float64, l limits) {
	p.Values = append(p.Values, level.Figure(value))
	p.Centre = append(p.Centre, level.Figure(l.centre))
	p.Lower = append(p.Lower, level.Figure(l.lower))
	p.Upper = append(p.Upper, level.Figure(l.upper))
}

func (p *panel) done() { p.chart.Panels = append(p.chart.Panels, p.Panel) }

// individuals draws single values with their moving range.
func (c *Chart) individuals() {
	c.values(Individuals)
	p := c.panel(MovingRange)
	x := make([]float64, len(c.Points))
	for i := range x {
		x[i] = c.Points[i].Value
	}
	l := rangeLimits(c.Sigma)
	for _, r := range movingRanges(x) {
		p.point(r, l)
	}
	p.limitRule()
	p.done()
}

// subgroups draws the days' means with their standard deviation.
func (c *Chart) subgroups(groups [][]float64) {
	c.values(Mean)
	p := c.panel(Deviation)
	for _, g := range groups {
		p.point(stat.StdDev(g, nil), scatterLimits(c.Sigma, len(g)))
	}
	p.limitRule()
	p.done()
}

// values draws the points themselves, with the run rules.
func (c *Chart) values(name string) {
	p := c.panel(name)
	z := make([]float64, len(c.Points))
	for i, x := range c.Points {
		p.point(x.Value, around(c.Centre, c.sd[i]))
		z[i] = (x.Value - c.Centre) / c.sd[i]
	}
	for _, rule := range runRules {
		p.fire(rule.name, func(i int, side float64) (holds, decides bool) {
			from := 0
			if i >= c.start {
				from = c.start // no rule looks back beyond it
			}
			return rule.fires(z[from:i+1], side), rule.need == 1 && side*z[i] > c.Factor*rule.threshold
		})
	}
	p.done()
}

// average draws the exponentially weighted moving average.
func (c *Chart) average() {
	p := c.panel(EWMA)
	c.segments(func(x, sd []float64) {
		z, dev := ewma(x, sd, c.Centre, lambda)
		for i := range z {
			p.point(z[i], around(c.Centre, dev[i]))
		}
	})
	p.limitRule()
	p.done()
}

// sums draws the cumulative sums, in standard deviations.
func (c *Chart) sums() {
	p := c.panel(CUSUM)
	var high, low []float64
	var began [2][]int
	c.segments(func(x, sd []float64) {
		z := make([]float64, len(x))
		for i := range z {
			z[i] = (x[i] - c.Centre) / sd[i]
		}
		offset := len(high)
		h, l, sinceHigh, sinceLow := cusum(z, 0, referenceValue)
		high, low = append(high, h...), append(low, l...)
		for i := range z {
			began[0], began[1] = append(began[0], offset+sinceHigh[i]), append(began[1], offset+sinceLow[i])
		}
	})
	for i := range high {
		p.point(high[i], limits{0, -decisionInterval, decisionInterval})
		p.Below = append(p.Below, level.Figure(-low[i]))
	}
	first := len(c.Signals)
	p.fire("beyond the limit", func(i int, side float64) (holds, decides bool) {
		sum := high[i]
		if side < 0 {
			sum = low[i]
		}
		return sum > decisionInterval, sum > c.Factor*decisionInterval
	})
	for k := first; k < len(c.Signals); k++ {
		s := &c.Signals[k]
		which := 0
		if s.Side == "low" {
			which = 1
		}
		s.Began = c.Points[began[which][s.First]].Time
	}
	p.done()
}

// segments calls do with the values before the start, and with those from it.
func (c *Chart) segments(do func(x, sd []float64)) {
	x := make([]float64, len(c.Points))
	for i := range x {
		x[i] = c.Points[i].Value
	}
	do(x[:c.start], c.sd[:c.start])
	do(x[c.start:], c.sd[c.start:])
}

// limitRule is the rule of the panel's limits.
func (p *panel) limitRule() {
	p.fire("beyond the limit", func(i int, side float64) (holds, decides bool) {
		limit := p.Lower[i]
		if side > 0 {
			limit = p.Upper[i]
		}
		beyond := level.Figure(side) * (p.Values[i] - p.Centre[i])
		reach := level.Figure(side) * (limit - p.Centre[i])
		return beyond > reach, p.Name == EWMA && beyond > level.Figure(p.chart.Factor)*reach
	})
}

// fire adds a signal for each run of points at which a rule holds. It decides when it
// does at one of them.
func (p *panel) fire(rule string, at func(i int, side float64) (holds, decides bool)) {
	c := p.chart
	for _, side := range []float64{1, -1} {
		name := "high"
		if side < 0 {
			name = "low"
		}
		open := false
		for i := range c.Points {
			was := open
			holds, decides := at(i, side)
			if open = holds; !open {
				continue
			}
			point := c.Points[i]
			if !was || i == c.start {
				c.Signals = append(c.Signals, Signal{Panel: p.Name, Rule: rule, Side: name, Label: point.Label, Time: point.Time, Began: point.Time, First: i})
			}
			s := &c.Signals[len(c.Signals)-1]
			s.Last, s.Through, s.Decides = point.Time, i, s.Decides || decides
		}
	}
}
