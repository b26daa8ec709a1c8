package report

import (
	"io"
	"time"

	"evenpole/report/pdf"
)

// onPDF is a canvas on a page. Its letters are those of an embedded font, so that
// text can be selected and looks the same everywhere.
type onPDF struct {
	doc  *pdf.Document
	x, y float64 // mm, where the canvas begins
	unit float64 // mm of a user unit
}

// look is how a class is drawn: what style sheet says of it, in grey.
type look struct {
	style  string // of fpdf: "D" draws the edge, "F" fills, "FD" does both
	fill   int    // grey, 0 black to 255
	edge   int
	width  float64   // user units
	dashes []float64 // user units
}

var looks = map[string]look{
	"axis":    {style: "D", width: 1.2},
	"grid":    {style: "D", edge: 204, width: 0.8},
	"dotted":  {style: "D", edge: 119, width: 1, dashes: []float64{1, 4}},
	"dashed":  {style: "D", width: 1.2, dashes: []float64{5, 3}},
	"band":    {style: "FD", fill: 238, edge: 136, width: 0.8},
	"target":  {style: "D", width: 2.5},
	"whisker": {style: "D", width: 1.6},
	"halo":    {style: "D", edge: 255, width: 4.5},
	"inside":  {style: "FD", fill: 178, width: 1},
	"outside": {style: "FD", fill: 255, width: 1.6}, // and hatched
	"open":    {style: "FD", fill: 255, width: 1.2},
	"solid":   {style: "F"},
	"bobbin":  {style: "FD", fill: 221, width: 1},
	"pole":    {style: "FD", fill: 255, width: 1.4},
}

// letters is the size of text in user units, by class.
var letters = map[string]float64{"strong": 11}

const usualLetters = 12

// newPDF is a canvas that is a page of its own size, in user units.
func newPDF(width, height float64, title string) *onPDF {
	return &onPDF{doc: pdf.NewDocument(width/perMM, height/perMM, title, time.Time{}), unit: 1 / perMM}
}

func (p *onPDF) write(w io.Writer) error { return p.doc.Write(w) }

// wear sets pens and fills for a class and returns fpdf's style.
func (p *onPDF) wear(class string) string {
	l := looks[class]
	p.doc.SetDrawColor(l.edge, l.edge, l.edge)
	p.doc.SetFillColor(l.fill, l.fill, l.fill)
	p.doc.SetLineWidth(l.width * p.unit)
	dashes := []float64{}
	for _, d := range l.dashes {
		dashes = append(dashes, d*p.unit)
	}
	p.doc.SetDashPattern(dashes, 0)
	return l.style
}

// at is where a point of the canvas lies on the page, mm.
func (p *onPDF) at(x, y float64) (float64, float64) { return p.x + x*p.unit, p.y + y*p.unit }

func (p *onPDF) rect(x, y, width, height float64, class string) {
	style := p.wear(class)
	x, y = p.at(x, y)
	p.doc.Rect(x, y, width*p.unit, height*p.unit, style)
	if class == "outside" {
		p.hatch(x, y, width*p.unit, height*p.unit)
	}
}

// hatch strokes what lies within a rectangle in mm.
func (p *onPDF) hatch(x, y, width, height float64) {
	p.doc.SetLineWidth(2.5 * p.unit)
	p.doc.ClipRect(x, y, width, height, false)
	for d := 0.0; d < width+height; d += 6 * p.unit * 1.4142 {
		p.doc.Line(x, y+d, x+d, y)
	}
	p.doc.ClipEnd()
}

func (p *onPDF) line(x1, y1, x2, y2 float64, class string) {
	p.wear(class)
	x1, y1 = p.at(x1, y1)
	x2, y2 = p.at(x2, y2)
	p.doc.Line(x1, y1, x2, y2)
}

func (p *onPDF) circle(x, y, r float64, class string) {
	style := p.wear(class)
	x, y = p.at(x, y)
	p.doc.Circle(x, y, r*p.unit, style)
}

func (p *onPDF) path(class string, points ...[2]float64) {
	style := p.wear(class)
	for i, q := range points {
		x, y := p.at(q[0], q[1])
		if i == 0 {
			p.doc.MoveTo(x, y)
		} else {
			p.doc.LineTo(x, y)
		}
	}
	p.doc.DrawPath(style)
}

func (p *onPDF) text(x, y float64, class, text string) {
	size := letters[class]
	if size == 0 {
		size = usualLetters
	}
	text = p.doc.Printable(text)
	p.doc.SetLetters(size*p.unit*72/25.4, class == "strong") // points
	x, y = p.at(x, y)
	switch width := p.doc.TextWidth(text); class {
	case "end":
		x -= width
	case "mid", "strong":
		x -= width / 2
	}
	p.doc.Put(x, y, text)
}

// picture draws on a canvas of so many user units across, as wide as a share of a page's
// column; draw returns its height.
func picture(s *pdf.Page, units, share float64, draw func(canvas) float64) {
	width := s.Width * share * s.Scale
	unit := width / units
	s.Room(draw(nowhere{}) * unit)
	s.Y += draw(&onPDF{doc: s.Doc, x: s.Left + (s.Width-width)/2, y: s.Y, unit: unit}) * unit
}
