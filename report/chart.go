package report

import (
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"

	"evenpole/fit/drift"
	"evenpole/fit/level"
	"evenpole/profiles"
)

// The control charts' measures, in user units.
const (
	controlWidth = 760.0
	controlLeft  = 66.0
	controlRight = 748.0
	controlTop   = 62.0
	panelHeight  = 118.0
	panelGap     = 30.0
	signalLine   = 16.0
	mostSignals  = 12 // that are listed
)

// Control draws control charts as SVG, one under the other. Where a rule fired
// stands a number; the list below names the rule and its date.
func Control(w io.Writer, c *drift.Chart) error {
	if len(c.Panels) == 0 {
		return fmt.Errorf("control chart of %s: expected two points or more, got %d", c.Subject, len(c.Points))
	}
	p := controlPlot{Chart: c, svg: svg{id: "control"}}
	p.text(controlLeft, 18, "start", fmt.Sprintf("%s, %s: %s", c.Subject, watched(c.Of), c.State))
	p.text(controlLeft, 33, "start", p.caption())
	for i := range c.Panels {
		p.panel(i)
	}
	p.dates()
	p.list()
	return p.write(w, controlWidth, p.height(), fmt.Sprintf("Control charts of %s, %s", c.Subject, watched(c.Of)), p.words())
}

// watched is what a series is of, in words.
func watched(of string) string {
	switch of {
	case drift.Level:
		return "mean level"
	case drift.Spread:
		return "spread of the balance"
	case drift.Scatter:
		return "scatter of one take"
	}
	return "balance of string " + of
}

// controlPlot is the charts being drawn.
type controlPlot struct {
	*drift.Chart
	svg
}

func (p *controlPlot) caption() string {
	text := fmt.Sprintf("limits from the first %d points (grey): centre %s dB, sigma %s dB", p.Baseline, figure("%.2f", p.Centre), figure("%.3f", p.Sigma))
	if !p.Since.IsZero() {
		text += "; started anew on " + p.Since.UTC().Format("2 Jan 2006")
	}
	return text
}

// bottom of the last panel.
func (p *controlPlot) bottom() float64 {
	return controlTop + float64(len(p.Panels))*(panelHeight+panelGap) - panelGap
}

func (p *controlPlot) height() float64 {
	lines := min(len(p.Signals), mostSignals+1)
	return p.bottom() + 44 + signalLine*float64(max(lines, 1))
}

func (p *controlPlot) x(i float64) float64 {
	return controlLeft + (i+0.5)/float64(len(p.Points))*(controlRight-controlLeft)
}

// scale is a panel's axis.
type scale struct{ low, high, top, bottom float64 }

func (s scale) y(v float64) float64 {
	return s.bottom - (v-s.low)/(s.high-s.low)*(s.bottom-s.top)
}

// scaleOf holds all that is drawn in a panel, and a little more.
func scaleOf(panel *drift.Panel, top float64) scale {
	s := scale{math.Inf(1), math.Inf(-1), top, top + panelHeight}
	for _, list := range [][]level.Figure{panel.Values, panel.Below, panel.Lower, panel.Upper} {
		for _, f := range list {
			if v := float64(f); known(v) {
				s.low, s.high = min(s.low, v), max(s.high, v)
			}
		}
	}
	margin := max(0.06*(s.high-s.low), 1e-9)
	s.low, s.high = s.low-margin, s.high+margin
	return s
}

func (p *controlPlot) panel(n int) {
	panel := &p.Panels[n]
	s := scaleOf(panel, controlTop+float64(n)*(panelHeight+panelGap))
	p.rect(controlLeft, s.top, p.x(float64(p.Baseline)-0.5)-controlLeft, panelHeight, "band")
	p.line(controlLeft, s.top, controlLeft, s.bottom, "axis")
	unit := "dB"
	if panel.Name == drift.CUSUM {
		unit = "sigma"
	}
	p.text(controlLeft+4, s.top-4, "start", panel.Name+", "+unit)
	p.labels(panel, s)
	p.steps(panel.Centre, s, "grid")
	p.steps(panel.Lower, s, "dashed")
	p.steps(panel.Upper, s, "dashed")
	p.numbers(panel, s)
	p.trace(panel.Below, s)
	p.trace(panel.Values, s)
}

// labels writes the centre and the last limits beside the axis, those that have
// room.
func (p *controlPlot) labels(panel *drift.Panel, s scale) {
	last := len(panel.Values) - 1
	var taken []float64
	for _, v := range []level.Figure{panel.Upper[last], panel.Lower[last], panel.Centre[last]} {
		y := s.y(float64(v))
		near := func(other float64) bool { return math.Abs(other-y) < 11 }
		if known(y) && !slices.ContainsFunc(taken, near) {
			p.text(controlLeft-6, y+4, "end", figure("%.4g", float64(v)))
			taken = append(taken, y)
		}
	}
}

// steps draws limits: level over each point.
func (p *controlPlot) steps(limits []level.Figure, s scale, class string) {
	var points [][2]float64
	for i, f := range limits {
		y := s.y(float64(f))
		points = append(points, [2]float64{p.x(float64(i) - 0.5), y}, [2]float64{p.x(float64(i) + 0.5), y})
	}
	p.path(class, thinned(points)...)
}

// trace joins values, but not across those that are missing.
func (p *controlPlot) trace(values []level.Figure, s scale) {
	var points [][2]float64
	end := func() {
		if len(points) > 1 {
			p.path("axis", thinned(points)...)
		}
		points = nil
	}
	for i, f := range values {
		if !known(float64(f)) {
			end()
			continue
		}
		points = append(points, [2]float64{p.x(float64(i)), s.y(float64(f))})
	}
	end()
	if len(values) > 120 {
		return // dots would run into each other
	}
	for i, f := range values {
		if known(float64(f)) {
			p.circle(p.x(float64(i)), s.y(float64(f)), 2, "solid")
		}
	}
}

// mostInLine is how many points of a line are drawn as they are.
const mostInLine = 2000

// thinned are the points of a line, from left to right, that show where there are more than
// can be told apart: the first, the lowest, the highest and the last one in each column a
// pixel wide (U. Jugel et al., M4: a visualization-oriented time series data aggregation,
// Proc. VLDB Endow. 7, 797, 2014).
func thinned(points [][2]float64) [][2]float64 {
	if len(points) <= mostInLine {
		return points
	}
	var out [][2]float64
	for from := 0; from < len(points); {
		column, to := math.Floor(points[from][0]), from+1
		low, high := from, from
		for ; to < len(points) && math.Floor(points[to][0]) == column; to++ {
			if points[to][1] < points[low][1] {
				low = to
			}
			if points[to][1] > points[high][1] {
				high = to
			}
		}
		shown := []int{from, low, high, to - 1}
		slices.Sort(shown)
		for _, i := range slices.Compact(shown) {
			out = append(out, points[i])
		}
		from = to
	}
	return out
}

// numbers marks the points where rules fired in a panel.
func (p *controlPlot) numbers(panel *drift.Panel, s scale) {
	at := map[int][2]float64{} // the point of each signal that is marked
	var taken []box
	for n, signal := range p.Signals {
		if signal.Panel != panel.Name || n >= mostSignals {
			continue
		}
		values := panel.Values
		if signal.Side == "low" && panel.Below != nil {
			values = panel.Below
		}
		x, y := p.x(float64(signal.First)), s.y(float64(values[signal.First]))
		p.circle(x, y, markRing, "open")
		at[n], taken = [2]float64{x, y}, append(taken, box{x - markRing, x + markRing, y - markRing, y + markRing})
	}
	for _, n := range slices.Sorted(maps.Keys(at)) {
		text := fmt.Sprint(n + 1)
		x, y := freePlace(text, at[n], s, taken)
		p.text(x, y, "strong", text)
		taken = append(taken, boxOf(text, x, y))
	}
}

// The marks' measures, in user units.
const (
	markRing   = 4.5
	digitWidth = 7.0
	markHeight = 9.0
	markStep   = 13.0 // from one place of a mark to the next
)

// box is what something fills of the picture.
type box struct{ left, right, top, bottom float64 }

func (b box) meets(o box) bool {
	return b.left < o.right && o.left < b.right && b.top < o.bottom && o.top < b.bottom
}

// boxOf is that of a number whose foot has its middle at x, y.
func boxOf(text string, x, y float64) box {
	half := digitWidth * float64(len(text)) / 2
	return box{x - half, x + half, y - markHeight, y}
}

// freePlace is where a number stands at its point: above it, beside it or below, and a step
// farther as long as something else stands there, or the panel ends.
func freePlace(text string, point [2]float64, s scale, taken []box) (x, y float64) {
	for far := 0.0; ; far += markStep {
		for _, by := range [][2]float64{{0, -9 - far}, {12 + far, 4}, {-12 - far, 4}, {0, 17 + far}, {12 + far, -9}, {-12 - far, -9}, {12 + far, 17}, {-12 - far, 17}} {
			x, y = point[0]+by[0], point[1]+by[1]
			b := boxOf(text, x, y)
			inside := b.top > s.top-5 && b.bottom < s.bottom+5 && b.left > controlLeft && b.right < controlWidth
			if inside && !slices.ContainsFunc(taken, b.meets) {
				return x, y
			}
		}
		if far > controlWidth {
			return x, y
		}
	}
}

// dates writes when some of the points were.
func (p *controlPlot) dates() {
	y := p.bottom() + 16
	every := max(1, int(math.Ceil(float64(len(p.Points))/9)))
	for i := 0; i < len(p.Points); i += every {
		p.line(p.x(float64(i)), p.bottom(), p.x(float64(i)), p.bottom()+4, "axis")
		p.text(p.x(float64(i)), y, "mid", p.Points[i].Time.UTC().Format("2 Jan 06"))
	}
}

// list names the rules that fired.
func (p *controlPlot) list() {
	y := p.bottom() + 38
	if len(p.Signals) == 0 {
		p.text(controlLeft, y, "start", "no rule fired")
	}
	for n, s := range p.Signals {
		if n == mostSignals {
			p.text(controlLeft, y, "start", fmt.Sprintf("and %d more", len(p.Signals)-n))
			break
		}
		p.text(controlLeft-8, y, "end", fmt.Sprint(n+1))
		p.text(controlLeft, y, "start", Signal(&s))
		y += signalLine
	}
}

// Signal says of a signal what fired and when.
func Signal(s *drift.Signal) string {
	const day = "2 Jan 2006"
	text := fmt.Sprintf("%s: %s, %s, on %s (%s)", s.Panel, s.Rule, s.Side, s.Time.UTC().Format(day), s.Label)
	if s.Last.After(s.Time) {
		text += " to " + s.Last.UTC().Format(day)
	}
	if s.Began.Before(s.Time) {
		text += "; began about " + s.Began.UTC().Format(day)
	}
	if !s.Decides {
		text += "; a reason to look"
	}
	return text
}

// words describes the charts for screen readers.
func (p *controlPlot) words() string {
	parts := []string{fmt.Sprintf("%s, %s", profiles.Count(len(p.Points), "point"), p.State)}
	for i := range p.Signals {
		parts = append(parts, Signal(&p.Signals[i]))
	}
	return strings.Join(parts, "; ") + "."
}
