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
	Outline  []float64      // mm, by string, pole tops to draw dashed beside the poles; nil when there are none
	Units    profiles.Units // of the figures in it; lengths are given in mm
	Beside   string         // what the outline is, such as "flat tops at 0.80 mm"

	Across []float64 // mm, where the strings lie, on any scale; nil: evenly, by Spacing
	Bodies []Body    // what stands under the strings; nil: a pole right under each
	Second []float64 // mm, tops of the other coil's poles, drawn narrow; nil for one coil

	SecondIs string // what they are

	Cautions []string // for who sets the poles; they stand on the sheet to cut out
}

// Body is a pole, or a blade's piece under one string.
type Body struct {
	String int     // the first that it is under, counted from 0
	X      float64 // mm, its middle on the scale of Across
	Width  float64 // mm
	Height float64 // mm, of its top; NaN when not known
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
	bobbinRim    = 1.5  // mm of bobbin beside the outermost pole or the blade, at least
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

	at     []float64 // mm from the middle, of each string
	bodies []Body    // likewise
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
	for _, y := range p.Second {
		e.top, e.low = max(e.top, y), min(e.low, y-bobbinDepth)
	}
	e.top += overStrings
	e.place()
	return e
}

// place puts strings and what stands under them where they are, mm from the middle.
func (e *elevation) place() {
	n := len(e.Poles)
	e.at = make([]float64, n)
	for i := range e.at {
		e.at[i] = (float64(i) - float64(n-1)/2) * e.Spacing
	}
	middle := 0.0
	if len(e.Across) == n {
		middle = (e.Across[0] + e.Across[n-1]) / 2
		for i, x := range e.Across {
			e.at[i] = x - middle
		}
	}
	for _, b := range e.Bodies {
		b.X -= middle
		e.bodies = append(e.bodies, b)
	}
	if e.Bodies == nil {
		for i, q := range e.Poles {
			e.bodies = append(e.bodies, Body{i, e.at[i], e.Diameter, q.Height})
		}
	}
}

// across is the width of the bobbin, mm.
func (e *elevation) across() float64 {
	left, right := e.at[0], e.at[len(e.at)-1]
	edge := 0.0 // of what stands under the strings
	for _, b := range e.bodies {
		left, right = min(left, b.X), max(right, b.X)
		edge = max(edge, math.Abs(b.X)+b.Width/2)
	}
	return 2 * max(max(-left, right)+max(e.Spacing, 2*e.Diameter)/2, edge+bobbinRim)
}

func (e *elevation) draw() {
	e.bobbin()
	e.arc()
	if e.Bodies != nil {
		for _, b := range e.bodies {
			e.body(b)
		}
	}
	for i := range e.Poles {
		e.pole(i)
	}
	e.second()
	e.outline()
	e.legend()
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
	least := math.Inf(1)
	for i := 1; i < len(e.at); i++ {
		least = min(least, e.at[i]-e.at[i-1])
	}
	return least * e.scale
}

// room is how far the figures of a pole are from their neighbours' in the same row, user units.
func (e *elevation) room(i int) float64 {
	room := e.right - poleLeft
	for _, k := range []int{i - e.rows(), i + e.rows()} {
		if k >= 0 && k < len(e.at) {
			room = min(room, math.Abs(e.at[k]-e.at[i])*e.scale)
		}
	}
	return room
}

func (e *elevation) x(i int) float64 {
	return e.mm(e.at[i])
}

// mm is a place across, mm from the middle.
func (e *elevation) mm(x float64) float64 { return (poleLeft+e.right)/2 + x*e.scale }
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
	q, x := e.Poles[i], e.x(i)
	gap := q.StringHeight - q.Height
	y := e.bottom() + rowHeight*float64(i%e.rows())
	e.text(x, y+17, "strong", label(q.String, q.Note, e.room(i)))
	e.text(x, y+32, "mid", length(e.Units, q.Height))
	e.text(x, y+47, "mid", length(e.Units, gap))
	if e.Bodies == nil {
		e.body(e.bodies[i])
	}
	if known(gap) && gap > 0 {
		e.line(x, e.y(q.Height), x, e.y(q.StringHeight), "axis")
	}
	if known(q.StringHeight) && known(q.Gauge) {
		e.circle(x, e.y(q.StringHeight+q.Gauge/2), max(q.Gauge/2*e.scale, 1), "solid")
	}
}

// body draws what stands under a string.
func (e *elevation) body(b Body) {
	if !known(b.Height) {
		return
	}
	x, wide := e.mm(b.X-b.Width/2), b.Width*e.scale
	if b.Height < 0 {
		e.rect(x, e.y(0), wide, e.y(b.Height)-e.y(0), "open") // the hole above a sunk pole
	}
	e.rect(x, e.y(b.Height), wide, e.bottom()-e.y(b.Height), "pole")
}

// second draws the other coil's poles, narrow and open.
func (e *elevation) second() {
	half := e.Diameter * e.scale / 4
	for i, h := range e.Second {
		e.rect(e.x(i)-half, e.y(h), 2*half, e.bottom()-e.y(h), "open")
	}
}

// outline dashes the other pole tops, somewhat wider than the poles.
func (e *elevation) outline() {
	if e.Outline == nil {
		return
	}
	for _, b := range e.bodies {
		x, y, half := e.mm(b.X), e.y(e.Outline[b.String]), (b.Width+0.3*e.Diameter)*e.scale/2
		e.line(x-half, y, x+half, y, "dashed")
	}
}

// legend says what is dashed and what is narrow, in one text: the narrow drawing has no room for two.
func (e *elevation) legend() {
	x, y := poleLeft, e.foot()+17
	var words []string
	if e.Outline != nil {
		e.line(x, y, x+24, y, "dashed")
		x, words = x+30, append(words, e.Units.Text(e.Beside))
	}
	if e.Second != nil {
		words = append(words, e.SecondIs)
	}
	if words != nil {
		e.text(x, y+4, "start", strings.Join(words, "; "))
	}
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
	for i, h := range p.Second {
		parts = append(parts, p.Units.Text(profiles.Sprintf("%s, string %d: %.2f mm", p.SecondIs, i+1, h)))
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

// arrange puts an order's strings, and what stands under them, where they are.
func (p *PolePicture) arrange(o *profiles.Order) {
	l, n := &o.Layout, len(o.Strings)
	p.Diameter = l.PoleDiameter
	p.Across = l.StringPositions
	if l.StringPositions == nil && l.StringsPerPole < 2 && o.Poles != profiles.Blade {
		return
	}
	strings := l.Across(n, o.StringSpread)
	p.Across = strings
	if o.Poles == profiles.Blade {
		p.Diameter = 0
		p.Bodies = bladeUnder(strings, p.Poles)
		return
	}
	wide, poles := l.PoleDiameter, l.PolesAcross(n, o.StringSpread)
	if wide == 0 {
		wide = usualPole
	}
	for i := 1; i < len(poles); i++ {
		wide = min(wide, 0.9*(poles[i]-poles[i-1]))
	}
	for k, x := range poles {
		i := l.StringOver(k)
		p.Bodies = append(p.Bodies, Body{i, x, wide, p.Poles[i].Height})
	}
}

// bladeUnder is a blade in pieces, each from halfway to one neighbour to halfway to the
// other, and as far beyond the outer strings.
func bladeUnder(strings []float64, poles []Pole) []Body {
	var out []Body
	last := len(strings) - 1
	for i, x := range strings {
		left, right := x-5, x+5 // mm
		if i > 0 {
			left = (strings[i-1] + x) / 2
		}
		if i < last {
			right = (x + strings[i+1]) / 2
		}
		if n := len(out); n > 0 && out[n-1].Height == poles[i].Height { // one piece
			from := out[n-1]
			left = from.X - from.Width/2
			out[n-1] = Body{from.String, (left + right) / 2, right - left, from.Height}
			continue
		}
		out = append(out, Body{i, (left + right) / 2, right - left, poles[i].Height})
	}
	return out
}
