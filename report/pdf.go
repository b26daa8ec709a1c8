package report

import (
	"io"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
)

// pdf is a canvas on one page of its own size. Its letters are those of an
// embedded font, so that text can be selected and looks the same everywhere.
type pdf struct{ doc *fpdf.Fpdf }

// look is how a class is drawn: what style sheet says of it, in grey.
type look struct {
	style  string // of fpdf: "D" draws the edge, "F" fills, "FD" does both
	fill   int    // grey, 0 black to 255
	edge   int
	width  float64   // user units
	dashes []float64 // user units
}

var looks = map[string]look{
	"axis":   {style: "D", width: 1.2},
	"grid":   {style: "D", edge: 204, width: 0.8},
	"dotted": {style: "D", edge: 119, width: 1, dashes: []float64{1, 4}},
	"dashed": {style: "D", width: 1.2, dashes: []float64{5, 3}},
	"open":   {style: "FD", fill: 255, width: 1.2},
	"solid":  {style: "F"},
	"bobbin": {style: "FD", fill: 221, width: 1},
	"pole":   {style: "FD", fill: 255, width: 1.4},
}

// letters is the size of text in user units, by class.
var letters = map[string]float64{"strong": 11}

const usualLetters = 12

func newPDF(width, height float64, title string) *pdf {
	doc := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: width / perMM, Ht: height / perMM}})
	doc.SetMargins(0, 0, 0)
	doc.SetAutoPageBreak(false, 0)
	doc.SetCatalogSort(true)
	doc.SetCreationDate(time.Unix(0, 0).UTC()) // the same plan makes the same bytes
	doc.SetModificationDate(time.Unix(0, 0).UTC())
	doc.SetTitle(title, true)
	doc.AddUTF8FontFromBytes("sans", "", liberationsansregular.TTF)
	doc.AddUTF8FontFromBytes("sans", "B", liberationsansbold.TTF)
	doc.AddPage()
	return &pdf{doc}
}

func (p *pdf) write(w io.Writer) error { return p.doc.Output(w) }

// wear sets pens and fills for a class and returns fpdf's style.
func (p *pdf) wear(class string) string {
	l := looks[class]
	p.doc.SetDrawColor(l.edge, l.edge, l.edge)
	p.doc.SetFillColor(l.fill, l.fill, l.fill)
	p.doc.SetLineWidth(l.width / perMM)
	dashes := []float64{}
	for _, d := range l.dashes {
		dashes = append(dashes, d/perMM)
	}
	p.doc.SetDashPattern(dashes, 0)
	return l.style
}

func (p *pdf) rect(x, y, width, height float64, class string) {
	style := p.wear(class)
	p.doc.Rect(x/perMM, y/perMM, width/perMM, height/perMM, style)
}

func (p *pdf) line(x1, y1, x2, y2 float64, class string) {
	p.wear(class)
	p.doc.Line(x1/perMM, y1/perMM, x2/perMM, y2/perMM)
}

func (p *pdf) circle(x, y, r float64, class string) {
	style := p.wear(class)
	p.doc.Circle(x/perMM, y/perMM, r/perMM, style)
}

func (p *pdf) path(class string, points ...[2]float64) {
	style := p.wear(class)
	for i, q := range points {
		if i == 0 {
			p.doc.MoveTo(q[0]/perMM, q[1]/perMM)
		} else {
			p.doc.LineTo(q[0]/perMM, q[1]/perMM)
		}
	}
	p.doc.DrawPath(style)
}

func (p *pdf) text(x, y float64, class, text string) {
	size, weight := letters[class], ""
	if size == 0 {
		size = usualLetters
	}
	if class == "strong" {
		weight = "B"
	}
	p.doc.SetFont("sans", weight, size*72/96) // points
	width := p.doc.GetStringWidth(text) * perMM
	switch class {
	case "end":
		x -= width
	case "mid", "strong":
		x -= width / 2
	}
	p.doc.Text(x/perMM, y/perMM, text)
}
