package report

import (
	"fmt"
	"io"
	"math"
	"strings"

	"evenpole/profiles"
)

// PolePicture is the elevation of a bobbin's top: poles and strings to scale,
// the same both ways, seen along the strings.
type PolePicture struct {
	Title    string         // what it shows, for those who listen
	Poles    []Pole         // string 1 first
	Spacing  float64        // mm between neighbouring poles, centre to centre
	Diameter float64        // mm, of a pole; 0 means 4.8 (3/16 in, common practice)
	Outline  []float64      // mm, pole tops to draw dashed beside the poles; nil when there are none
	Units    profiles.Units // of the figures in it; lengths are given in mm
	Beside   string         // what the outline is, such as "flat tops at 0.80 mm"
}

// Pole is one pole and its string. Lengths in mm from the bobbin plane up.
type Pole struct {
	String       int
	Note         string
	Height       float64 // of the pole's top; NaN when not known
	StringHeight float64 // of the string's underside; NaN when not known
	Gauge        float64 // NaN when not known
}

// The pole picture's measures: user units, but for those in mm.
const (
	poleWidth    = 680.0
	poleLeft     = 70.0
	poleRight    = 668.0
	usualPole    = 4.8  // mm
	bobbinDepth  = 1.6  // mm of bobbin that is drawn below its plane
	overStrings  = 0.8  // mm of air above the highest string
	mostScale    = 14.0 // user units to a mm
	mostHeight   = 250.0
	figureWidth  = 31.0   // of "−0.30", user units
	rowHeight    = 45.0   // of three lines of figures
	leastOfPitch = 0.7    // of the spacing, a pole's width at most
	mostLength   = 1000.0 // mm: far more than a pickup has, and a scale of so many lines ends
)

// Poles draws the picture as SVG.
func Poles(w io.Writer, p PolePicture) error {
	if err := p.check(); err != nil {
		return err
	}
	s := &svg{id: "poles"}
	height := p.draw(s)
	return s.write(w, poleWidth, height, p.Title, p.words())
}

// draw draws the picture on any canvas and returns its height in user units.
func (p *PolePicture) draw(on canvas) (height float64) {
	e := newElevation(*p, on)
	e.scale = min(mostScale, mostHeight/(e.top-e.low), (e.right-poleLeft)/e.across())
	e.draw()
	e.scaleBar()
	return e.foot() + 29
}

// thou25 is 25 thousandths of an inch, mm.
const thou25 = 0.025 * 25.4

func (p *PolePicture) check() error {
	n := len(p.Poles)
	switch {
	case n == 0:
		return fmt.Errorf("pole picture: expected at least one pole, got none")
	case n > 1 && !(p.Spacing > 0 && known(p.Spacing)):
		return fmt.Errorf("pole picture: spacing: expected more than 0 mm, got %g", p.Spacing)
	case p.Outline != nil && len(p.Outline) != n:
		return fmt.Errorf("pole picture: outline: expected %d heights, one a pole, got %d", n, len(p.Outline))
	case math.IsNaN(p.Spacing) || math.Abs(p.Spacing) > mostLength:
		return fmt.Errorf("pole picture: spacing: expected at most %g mm, got %g", mostLength, p.Spacing)
	}
	for i, q := range p.Poles {
		lengths := []float64{q.Height, q.StringHeight, q.Gauge}
		if p.Outline != nil {
			lengths = append(lengths, p.Outline[i])
		}
		for _, x := range lengths {
			if known(x) && math.Abs(x) > mostLength {
				return fmt.Errorf("pole picture: pole %d: expected lengths of at most %g mm, got %g", i+1, mostLength, x)
			}
		}
	}
	return nil
}

// elevation is the picture being drawn. Its scale is the drawer's to set.
type elevation struct {
	PolePicture
	canvas
	scale float64 // user units to a mm
	right float64 // of the bobbin
	above float64 // user units of air over the picture
	top   float64 // mm, the highest that is drawn
	low   float64 // mm, the lowest
}

func newElevation(p PolePicture, c canvas) *elevation {
	e := &elevation{PolePicture: p, canvas: c, right: poleRight, above: 8, top: 1, low: -bobbinDepth}
	if !(e.Diameter > 0) {
		e.Diameter = usualPole
	}
	if len(p.Poles) > 1 {
		e.Diameter = min(e.Diameter, leastOfPitch*e.Spacing)
	}
	for i, q := range p.Poles {
		for _, y := range []float64{q.Height, q.StringHeight, q.StringHeight + q.Gauge, e.besides(i)} {
			if known(y) {
				e.top = max(e.top, y)
				e.low = min(e.low, y-bobbinDepth)
			}
		}
	}
	e.top += overStrings
	return e
}

// across is the width of the bobbin, mm.
func (e *elevation) across() float64 {
	return e.Spacing*float64(len(e.Poles)-1) + max(e.Spacing, 2*e.Diameter)
}

func (e *elevation) draw() {
	e.bobbin()
	e.arc()
	for i := range e.Poles {
		e.pole(i)
	}
	e.outline()
}

// besides is the height of the other stagger's outline over pole i.
func (e *elevation) besides(i int) float64 {
	if e.Outline == nil {
		return 0
	}
	return e.Outline[i]
}

// pitch is the distance between poles, in user units.
func (e *elevation) pitch() float64 {
	if len(e.Poles) == 1 {
		return e.right - poleLeft
	}
	return e.Spacing * e.scale
}

func (e *elevation) x(i int) float64 {
	return (poleLeft+e.right)/2 + (float64(i)-float64(len(e.Poles)-1)/2)*e.Spacing*e.scale
}
func (e *elevation) y(mm float64) float64 { return e.above + (e.top-mm)*e.scale }
func (e *elevation) bottom() float64      { return e.y(e.low) }

// rows is the number of rows in which figures stand under the poles: two when the poles
// are closer than their figures are wide.
func (e *elevation) rows() int {
	width := figureWidth
	if e.Units == profiles.Inches { // a digit more
		width *= 1.25
	}
	if e.pitch() < width {
		return 2
	}
	return 1
}

// foot is the base line of the lowest figures.
func (e *elevation) foot() float64 { return e.bottom() + 47 + rowHeight*float64(e.rows()-1) }

func (e *elevation) bobbin() {
	e.rect(poleLeft, e.y(0), e.right-poleLeft, e.bottom()-e.y(0), "bobbin")
	every, mark := 1.0, short
	if e.Units == profiles.Inches {
		every, mark = thou25, func(mm float64) string { return e.Units.Write("%.2f", mm) }
	}
	for every*e.scale < 13 {
		every *= 2
	}
	for mm := 0.0; mm <= e.top-overStrings/2; mm += every {
		e.line(poleLeft, e.y(mm), e.right, e.y(mm), "grid")
		e.text(poleLeft-6, e.y(mm)+4, "end", mark(mm))
	}
	e.line(poleLeft, e.y(0), e.right, e.y(0), "axis")
	e.text(14, e.y(e.top/2)+4, "mid", e.Units.Name())
	for i := range 3 * e.rows() {
		e.text(poleLeft-6, e.bottom()+17+15*float64(i), "end", [...]string{"string", "pole, " + e.Units.Name(), "gap, " + e.Units.Name()}[i%3])
	}
}

// arc joins the strings' undersides.
func (e *elevation) arc() {
	var points [][2]float64
	for i, q := range e.Poles {
		if known(q.StringHeight) {
			points = append(points, [2]float64{e.x(i), e.y(q.StringHeight)})
		}
	}
	if len(points) > 1 {
		e.path("dotted", points...)
	}
}

func (e *elevation) pole(i int) {
	q, x, half := e.Poles[i], e.x(i), e.Diameter*e.scale/2
	gap := q.StringHeight - q.Height
	y := e.bottom() + rowHeight*float64(i%e.rows())
	e.text(x, y+17, "strong", label(q.String, q.Note, e.pitch()*float64(e.rows())))
	e.text(x, y+32, "mid", length(e.Units, q.Height))
	e.text(x, y+47, "mid", length(e.Units, gap))
	if known(q.Height) {
		if q.Height < 0 {
			e.rect(x-half, e.y(0), 2*half, e.y(q.Height)-e.y(0), "open") // the hole above a sunk pole
		}
		e.rect(x-half, e.y(q.Height), 2*half, e.bottom()-e.y(q.Height), "pole")
	}
	if known(gap) && gap > 0 {
		e.line(x, e.y(q.Height), x, e.y(q.StringHeight), "axis")
	}
	if known(q.StringHeight) && known(q.Gauge) {
		e.circle(x, e.y(q.StringHeight+q.Gauge/2), max(q.Gauge/2*e.scale, 1), "solid")
	}
}

// outline dashes the other pole tops, somewhat wider than the poles.
func (e *elevation) outline() {
	if e.Outline == nil {
		return
	}
	half := e.Diameter * e.scale / 2 * 1.3
	for i, h := range e.Outline {
		e.line(e.x(i)-half, e.y(h), e.x(i)+half, e.y(h), "dashed")
	}
	y := e.foot() + 17
	e.line(poleLeft, y, poleLeft+24, y, "dashed")
	e.text(poleLeft+30, y+4, "start", e.Units.Text(e.Beside))
}

// scaleBar shows 10 mm, or half an inch: the picture is to scale both ways.
func (e *elevation) scaleBar() {
	long, words := 10.0, "10 mm"
	if e.Units == profiles.Inches {
		long, words = 12.7, "0.5 in"
	}
	y, x := e.foot()+17, e.right-long*e.scale
	e.line(x, y, e.right, y, "axis")
	e.line(x, y-4, x, y+4, "axis")
	e.line(e.right, y-4, e.right, y+4, "axis")
	e.text(x-6, y+4, "end", words)
}

// words describes the picture for screen readers.
func (p *PolePicture) words() string {
	var parts []string
	for _, q := range p.Poles {
		parts = append(parts, p.Units.Text(fmt.Sprintf("string %s: pole %s mm, gap %s mm",
			name(q.String, q.Note), figure("%.2f", q.Height), figure("%.2f", q.StringHeight-q.Height))))
	}
	if p.Outline != nil {
		parts = append(parts, "dashed: "+p.Units.Text(p.Beside))
	}
	return strings.Join(parts, "; ") + "."
}

// spacing is the distance between an order's strings, mm.
func spacing(o *profiles.Order) float64 {
	return o.StringSpread / math.Max(1, float64(len(o.Strings)-1))
}
