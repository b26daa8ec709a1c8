package report

import (
	"fmt"
	"io"
	"math"
	"strings"

	"evenpole/profiles"
)

// BalanceChart is the picture of a pickup's balance, by string.
type BalanceChart struct {
	Title     string    // what it shows, for those who listen
	Bars      []Bar     // string 1 first
	Tolerance float64   // dB either side of each target; 0 draws no band
	Predicted []float64 // dB, by string, a model's; nil when there is none
}

// Bar is one string's balance.
type Bar struct {
	String   int
	Note     string
	Balance  float64 // dB; NaN when not known
	Expanded float64 // dB, half the length of the whisker; 0 or NaN draws none
	Target   float64 // dB
	Mark     Mark
}

// Mark is how a bar is filled, so that it is recognised without colour.
type Mark int

// The marks.
const (
	Inside    Mark = iota // solid
	Undecided             // white
	Outside               // hatched
)

// String is the mark in words.
func (m Mark) String() string {
	return [...]string{"within tolerance", "cannot tell", "out of tolerance"}[m]
}

func (m Mark) class() string { return [...]string{"inside", "open", "outside"}[m] }

// The balance chart's measures, in user units.
const (
	chartWidth  = 680.0
	plotLeft    = 64.0
	plotRight   = 668.0
	plotTop     = 12.0
	plotBottom  = 172.0
	chartHeight = 258.0
)

// Balance draws the chart as SVG. A bar that is longer than the axis ends in an
// arrow; its figures stand below it as all others do.
func Balance(w io.Writer, c BalanceChart) error {
	if len(c.Bars) == 0 {
		return fmt.Errorf("balance chart: expected at least one string, got none")
	}
	if c.Predicted != nil && len(c.Predicted) != len(c.Bars) {
		return fmt.Errorf("balance chart: expected %d predictions, one a string, got %d", len(c.Bars), len(c.Predicted))
	}
	picture := &svg{id: "balance"}
	picture.hatch()
	c.draw(picture)
	return picture.write(w, chartWidth, chartHeight, c.Title, c.words())
}

// draw draws the chart on any canvas.
func (c *BalanceChart) draw(on canvas) {
	p := balancePlot{BalanceChart: *c, canvas: on, reach: c.reach(), step: (plotRight - plotLeft) / float64(len(c.Bars))}
	p.axis()
	for i := range c.Bars {
		p.bar(i)
	}
	p.line(plotLeft, p.y(0), plotRight, p.y(0), "axis")
	p.legend()
}

// reach is the highest value of the axis, dB: what targets, tolerance and bars
// need, but not so much for one bad string that the others cannot be read.
func (c *BalanceChart) reach() float64 {
	var must, want float64
	for _, b := range c.Bars {
		must = max(must, math.Abs(b.Target)+c.Tolerance)
		if known(b.Balance) {
			want = max(want, math.Abs(b.Balance)+whisker(b))
		}
	}
	if must == 0 {
		must = want
	}
	return niceAbove(max(1.15*must, min(want, 3.2*must), 0.5))
}

func whisker(b Bar) float64 {
	if known(b.Expanded) {
		return b.Expanded
	}
	return 0
}

// niceAbove rounds up to 1, 1.5, 2, 3, 4, 5, 6 or 8 times a power of ten.
func niceAbove(x float64) float64 {
	scale := math.Pow(10, math.Floor(math.Log10(x)))
	for _, nice := range []float64{1, 1.5, 2, 3, 4, 5, 6, 8} {
		if x <= nice*scale*(1+1e-9) {
			return nice * scale
		}
	}
	return 10 * scale
}

// balancePlot is the chart being drawn.
type balancePlot struct {
	BalanceChart
	canvas
	reach float64 // dB
	step  float64 // from one string to the next
}

func (p *balancePlot) y(db float64) float64 {
	return (plotTop+plotBottom)/2 - db/p.reach*(plotBottom-plotTop)/2
}

// clip keeps a value on the axis.
func (p *balancePlot) clip(db float64) float64 { return max(-p.reach, min(p.reach, db)) }

// hatch defines the fill of what is out of tolerance or not explained.
func (s *svg) hatch() {
	s.open("pattern", attr{"id", s.id + "-hatch"}, attr{"width", 6.0}, attr{"height", 6.0},
		attr{"patternUnits", "userSpaceOnUse"}, attr{"patternTransform", "rotate(45)"})
	s.empty("rect", attr{"width", 6.0}, attr{"height", 6.0}, attr{"fill", "#fff"})
	s.empty("rect", attr{"width", 2.5}, attr{"height", 6.0}, attr{"fill", "#000"})
	s.close("pattern")
}

func (p *balancePlot) axis() {
	const ticks = 2 // either side of 0
	for i := -ticks; i <= ticks; i++ {
		db := p.reach * float64(i) / ticks
		p.line(plotLeft, p.y(db), plotRight, p.y(db), "grid")
		format := "%+.3g"
		if i == 0 {
			format = "%.3g"
		}
		p.text(plotLeft-6, p.y(db)+4, "end", figure(format, db))
	}
	p.text(14, (plotTop+plotBottom)/2+4, "mid", "dB")
	p.line(plotLeft, plotTop, plotLeft, plotBottom, "axis")
	for i, head := range []string{"string", "balance", "± U"} {
		p.text(plotLeft-6, plotBottom+25+15*float64(i), "end", head)
	}
}

func (p *balancePlot) bar(i int) {
	b := p.Bars[i]
	x := plotLeft + (float64(i)+0.5)*p.step
	half := min(0.22*p.step, 20)
	if p.Tolerance > 0 {
		low, high := p.clip(b.Target-p.Tolerance), p.clip(b.Target+p.Tolerance)
		p.rect(x-1.75*half, p.y(high), 3.5*half, p.y(low)-p.y(high), "band")
	}
	p.text(x, plotBottom+25, "strong", label(b.String, b.Note, p.step))
	p.text(x, plotBottom+40, "mid", figure("%+.2f", b.Balance))
	p.text(x, plotBottom+55, "mid", figure("%.2f", b.Expanded))
	if known(b.Balance) {
		end := p.clip(b.Balance)
		p.rect(x-half, p.y(max(end, 0)), 2*half, math.Abs(p.y(0)-p.y(end)), b.Mark.class())
		p.whisker(x, half/2, b)
		if end != b.Balance {
			p.arrow(x, half, end)
		}
	}
	p.line(x-1.75*half, p.y(b.Target), x+1.75*half, p.y(b.Target), "target")
	if p.Predicted != nil && known(p.Predicted[i]) {
		p.diamond(x+1.35*half, p.y(p.clip(p.Predicted[i])))
	}
}

// whisker spans the balance and U either side of it, as far as the axis goes.
func (p *balancePlot) whisker(x, half float64, b Bar) {
	low, high := p.clip(b.Balance-whisker(b)), p.clip(b.Balance+whisker(b))
	if low == high {
		return
	}
	classes := []string{"whisker"}
	if b.Mark == Outside {
		classes = []string{"halo", "whisker"} // to stand out from the hatching
	}
	for _, class := range classes {
		p.line(x, p.y(high), x, p.y(low), class)
		p.line(x-half, p.y(high), x+half, p.y(high), class)
		p.line(x-half, p.y(low), x+half, p.y(low), class)
	}
}

// arrow says that a bar goes on beyond the axis.
func (p *balancePlot) arrow(x, half, end float64) {
	tip := p.y(end) - math.Copysign(10, end)
	p.path("solid", [2]float64{x - half, p.y(end)}, [2]float64{x + half, p.y(end)}, [2]float64{x, tip})
}

func (p *balancePlot) diamond(x, y float64) {
	const r = 5
	p.path("open", [2]float64{x - r, y}, [2]float64{x, y - r}, [2]float64{x + r, y}, [2]float64{x, y + r}, [2]float64{x - r, y})
}

// legend explains what is in the chart, and nothing else. One that would be too wide begins
// further to the left than the chart.
func (p *balancePlot) legend() {
	const y = chartHeight - 5
	type entry struct {
		words string
		draw  func(x float64)
	}
	var all []entry
	for m := Inside; m <= Outside; m++ {
		if p.has(m) {
			all = append(all, entry{m.String(), func(x float64) { p.rect(x, y-11, 18, 12, m.class()) }})
		}
	}
	if p.Tolerance > 0 {
		all = append(all, entry{"tolerance", func(x float64) { p.rect(x, y-11, 18, 12, "band") }})
	}
	all = append(all, entry{"target", func(x float64) { p.line(x, y-5, x+18, y-5, "target") }})
	if p.Predicted != nil {
		all = append(all, entry{"predicted", func(x float64) { p.diamond(x+9, y-5) }})
	}
	width := func(e entry) float64 { return 44 + 6*float64(len(e.words)) }
	total := 0.0
	for _, e := range all {
		total += width(e)
	}
	x := max(4, min(plotLeft, chartWidth-total))
	for _, e := range all {
		e.draw(x)
		p.text(x+24, y, "start", e.words)
		x += width(e)
	}
}

func (c *BalanceChart) has(m Mark) bool {
	for _, b := range c.Bars {
		if b.Mark == m {
			return true
		}
	}
	return false
}

// words describes the chart for screen readers.
func (c *BalanceChart) words() string {
	var parts []string
	for _, b := range c.Bars {
		text := profiles.Sprintf("string %s: balance %s dB", name(b.String, b.Note), figure("%+.2f", b.Balance))
		if whisker(b) > 0 {
			text += fmt.Sprintf(" ± %.2f dB", b.Expanded)
		}
		parts = append(parts, profiles.Sprintf("%s, target %s dB, %s", text, figure("%+.2f", b.Target), b.Mark))
	}
	return strings.Join(parts, "; ") + "."
}
