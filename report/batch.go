package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"

	"evenpole/fit/batch"
	"evenpole/fit/level"
	"evenpole/profiles"
)

// BatchPage is what the page on a magnet batch says.
type BatchPage struct {
	*batch.Report
	Sets    *batch.Sets    // nil draws none
	Version string         // of the program
	Units   profiles.Units // of lengths; with inches, fields are in gauss as well
}

// MT is a field in mT as a sentence has it.
func (p BatchPage) MT(x float64) string { return p.Units.Text(figure("%.1f", x) + " mT") }

// Span is an interval of fields likewise.
func (p BatchPage) Span(low, high float64) string {
	return p.Units.Text(figure("%.1f", low) + " to " + figure("%.1f", high) + " mT")
}

// GapSaid is the probe's gap in words.
func (p BatchPage) GapSaid() string {
	if !p.Gap.Known() {
		return "not recorded"
	}
	return p.Units.Say(float64(p.Gap))
}

//go:embed batch.html
var batchHTML string

var batchTemplate = template.Must(template.New("batch").Funcs(template.FuncMap{
	"css":       css,
	"mt":        func(x float64) string { return figure("%.1f", x) },
	"plain":     func(x level.Figure) float64 { return float64(x) },
	"gauss":     profiles.Gauss,
	"k":         func(x float64) string { return figure("%.3f", x) },
	"p":         func(x float64) string { return figure("%.2g", x) },
	"db":        func(x float64) string { return figure("%+.2f", x) },
	"signed":    func(x float64) string { return figure("%+.1f", x) },
	"percent":   percent,
	"count":     profiles.Count,
	"percentOf": func(x float64) string { return figure("%.3g", x) + " %" },
}).Parse(batchHTML + endingHTML))

// WriteBatch writes one page of HTML that prints on A4 or Letter; more with many
// sets. The same report gives the same bytes: its date is the measurement's.
func WriteBatch(w io.Writer, p BatchPage) error {
	if p.Report == nil {
		return fmt.Errorf("batch page: expected a report")
	}
	strip, err := inline(func(w io.Writer) error { return Strip(w, BatchStrip(p.Report, p.Units)) })
	if err != nil {
		return err
	}
	return fill(w, batchTemplate, struct {
		BatchPage
		Strip template.HTML
	}{p, strip})
}

// Ending is the page's.
func (p BatchPage) Ending() ending {
	return ending{Notes: p.Units.Texts(p.Notes), Cautions: batch.Cautions(), Footnote: "Strength: the size of the field at the probe.", Version: p.Version}
}

// When is the time of the last take, in words.
func (p BatchPage) When() string {
	if p.Measured.IsZero() {
		return "not recorded"
	}
	return p.Measured.UTC().Format("2 January 2006, 15:04 UTC")
}

// Class is the decision for the style sheet.
func (p BatchPage) Class() string {
	if p.Decision == nil {
		return ""
	}
	return map[batch.Answer]string{batch.Accept: "pass", batch.Reject: "fail"}[p.Decision.Answer]
}

// StripPlot is the picture of values in the order of measurement.
type StripPlot struct {
	Title  string
	Unit   string
	Units  profiles.Units // of the shop: with inches a field has gauss beside
	Points []Point
	Mean   float64
	Band   [2]float64 // what most of the batch lies within; equal ends draw none
	Min    float64    // limits; NaN draws none
	Max    float64
}

// Point is one value of a strip plot. One with a name is drawn open, and named.
type Point struct {
	Value float64
	Name  string
}

// BatchStrip is the strip plot of a batch: outliers, magnets beyond their limits
// and those with the other pole up are named.
func BatchStrip(r *batch.Report, u profiles.Units) StripPlot {
	p := StripPlot{Title: "Strength of the magnets of batch " + r.Batch, Unit: "mT", Units: u, Mean: r.Mean, Min: math.NaN(), Max: math.NaN()}
	if t := r.Tolerance; t != nil {
		p.Band = [2]float64{t.Low, t.High}
	}
	if d := r.Decision; d != nil && d.Min != nil {
		p.Min = *d.Min
	}
	if d := r.Decision; d != nil && d.Max != nil {
		p.Max = *d.Max
	}
	for i := range r.Magnets {
		m := &r.Magnets[i]
		point := Point{Value: m.Strength()}
		if m.Outlier || m.Breach != "" || m.Reversed {
			point.Name = m.Name
		}
		p.Points = append(p.Points, point)
	}
	return p
}

// The strip plot's measures, in user units.
const (
	stripLeft   = 54.0
	stripRight  = 668.0
	gaussRoom   = 50.0 // for figures on the right
	stripTop    = 10.0
	stripBottom = 200.0
	stripHeight = 252.0
	mostNames   = 12 // in the picture; all are in the page's text
)

// strip is the plot being drawn.
type strip struct {
	StripPlot
	canvas
	low, high, step float64 // of the axis
	right           float64 // end of the plot
}

// Strip draws the plot as SVG.
func Strip(w io.Writer, plot StripPlot) error {
	if len(plot.Points) == 0 {
		return fmt.Errorf("strip plot: expected at least one value, got none")
	}
	picture := &svg{id: "strip"}
	words := plot.draw(picture)
	return picture.write(w, chartWidth, stripHeight, plot.Title, words)
}

// draw draws the plot on any canvas, and returns it in words.
func (p *StripPlot) draw(on canvas) (words string) {
	s := strip{StripPlot: *p, canvas: on, right: stripRight}
	if s.Units.InGauss() {
		s.right -= gaussRoom
	}
	s.scale()
	if s.Band[0] < s.Band[1] {
		s.rect(stripLeft, s.y(s.Band[1]), s.right-stripLeft, s.y(s.Band[0])-s.y(s.Band[1]), "band")
	}
	s.axes()
	s.line(stripLeft, s.y(s.Mean), s.right, s.y(s.Mean), "axis")
	for _, limit := range []float64{s.Min, s.Max} {
		if known(limit) {
			s.line(stripLeft, s.y(limit), s.right, s.y(limit), "dashed")
		}
	}
	s.points()
	s.legend()
	return s.words()
}

// scale chooses an axis that all values, the band and the limits are on.
func (s *strip) scale() {
	s.low, s.high = math.Inf(1), math.Inf(-1)
	see := func(values ...float64) {
		for _, v := range values {
			if known(v) {
				s.low, s.high = min(s.low, v), max(s.high, v)
			}
		}
	}
	see(s.Mean, s.Min, s.Max)
	if s.Band[0] < s.Band[1] {
		see(s.Band[:]...)
	}
	for _, p := range s.Points {
		see(p.Value)
	}
	const ticks = 5
	s.step = niceAbove(max(s.high-s.low, 1e-3*math.Abs(s.high), 1e-9) / ticks)
	s.low = s.step * math.Floor(s.low/s.step-0.1)
	s.high = s.step * math.Ceil(s.high/s.step+0.1)
}

func (s *strip) y(v float64) float64 {
	return stripBottom - (v-s.low)/(s.high-s.low)*(stripBottom-stripTop)
}

func (s *strip) x(i int) float64 {
	return stripLeft + (float64(i)+0.5)/float64(len(s.Points))*(s.right-stripLeft)
}

func (s *strip) axes() {
	for k := 0; s.low+float64(k)*s.step < s.high+s.step/2; k++ {
		v := s.low + float64(k)*s.step
		s.line(stripLeft, s.y(v), s.right, s.y(v), "grid")
		s.text(stripLeft-6, s.y(v)+4, "end", figure("%.4g", v))
		if s.Units.InGauss() {
			s.text(s.right+6, s.y(v)+4, "start", profiles.Gauss(v))
		}
	}
	if s.Units.InGauss() {
		s.text(stripRight, stripTop+4, "mid", "G")
	}
	s.text(12, stripTop+4, "mid", s.Unit)
	s.line(stripLeft, stripTop, stripLeft, stripBottom, "axis")
	every := max(1, int(niceAbove(float64(len(s.Points))/12)))
	for i := 0; i < len(s.Points); i += every {
		s.text(s.x(i), stripBottom+16, "mid", fmt.Sprint(i+1))
	}
}

func (s *strip) points() {
	r := min(4, max(1.5, 150/float64(len(s.Points))))
	var names [][2]float64 // where they stand
	for i, p := range s.Points {
		x, y := s.x(i), s.y(p.Value)
		if p.Name == "" {
			s.circle(x, y, r, "solid")
			continue
		}
		s.circle(x, y, r+1, "open")
		if len(names) < mostNames {
			at := clearOf(names, x, y+4)
			names = append(names, at)
			s.name(at, r+4, p.Name)
		}
	}
}

// clearOf is the place at x and y, or as far above it as a name needs to be clear
// of those that stand nearby.
func clearOf(names [][2]float64, x, y float64) [2]float64 {
	const width, height = 60, 12 // of a name, about
	for _, n := range names {
		if math.Abs(n[0]-x) < width && math.Abs(n[1]-y) < height {
			return clearOf(names, x, n[1]-height)
		}
	}
	return [2]float64{x, y}
}

// name writes a name beside a point, on the side with more room.
func (s *strip) name(at [2]float64, beside float64, name string) {
	if at[0] < (stripLeft+s.right)/2 {
		s.text(at[0]+beside, at[1], "start", name)
	} else {
		s.text(at[0]-beside, at[1], "end", name)
	}
}

// legend explains what is in the plot, and nothing else.
func (s *strip) legend() {
	const y = stripHeight - 6
	x := stripLeft
	entry := func(there bool, words string, draw func(x float64)) {
		if there {
			draw(x)
			s.text(x+24, y, "start", words)
			x += 44 + 6.5*float64(len(words))
		}
	}
	entry(true, "mean", func(x float64) { s.line(x, y-4, x+18, y-4, "axis") })
	entry(s.Band[0] < s.Band[1], "tolerance interval", func(x float64) { s.rect(x, y-10, 18, 12, "band") })
	entry(known(s.Min) || known(s.Max), "limits", func(x float64) { s.line(x, y-4, x+18, y-4, "dashed") })
	entry(s.named() != nil, "outlier, beyond limits, or other pole up", func(x float64) { s.circle(x+9, y-4, 4.5, "open") })
}

func (s *strip) named() []string {
	var names []string
	for _, p := range s.Points {
		if p.Name != "" {
			names = append(names, fmt.Sprintf("%s at %s %s", p.Name, figure("%.1f", p.Value), s.Unit))
		}
	}
	return names
}

// words describes the plot for screen readers.
func (s *strip) words() string {
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range s.Points {
		low, high = min(low, p.Value), max(high, p.Value)
	}
	text := fmt.Sprintf("%s from %s to %s %s, mean %s %s", profiles.Count(len(s.Points), "magnet"), figure("%.1f", low), figure("%.1f", high), s.Unit, figure("%.1f", s.Mean), s.Unit)
	if names := s.named(); names != nil {
		text += "; named: " + strings.Join(names, ", ")
	}
	return s.Units.Text(text) + "."
}

// percent writes a share.
func percent(share float64) string { return figure("%.3g", 100*share) + " %" }
