package report

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"strings"

	"evenpole/profiles"
)

// canvas is what a picture is drawn on: each part has a class, which says how
// it looks.
type canvas interface {
	rect(x, y, width, height float64, class string)
	line(x1, y1, x2, y2 float64, class string)
	circle(x, y, r float64, class string)
	path(class string, points ...[2]float64)
	text(x, y float64, class, text string)
}

// perMM is the number of user units in a millimetre of a picture that is drawn
// at full size: CSS has 96 of them in an inch.
const perMM = 96 / 25.4

// svg is a picture in the making. Lengths are in user units, y downwards.
type svg struct {
	body bytes.Buffer
	id   string // unique within a document
	full bool   // at full size: its width and height are told in mm
}

// attr is one attribute of an element; numbers are cut to hundredths.
type attr struct {
	name  string
	value any
}

// style is a class of the picture's own style sheet.
func style(class string) attr { return attr{"class", class} }

// open writes a start tag.
func (s *svg) open(name string, attrs ...attr) {
	s.tag(name, attrs)
	s.body.WriteString(">")
}

func (s *svg) close(name string) { fmt.Fprintf(&s.body, "</%s>\n", name) }

func (s *svg) empty(name string, attrs ...attr) {
	s.tag(name, attrs)
	s.body.WriteString("/>\n")
}

func (s *svg) tag(name string, attrs []attr) {
	s.body.WriteString("<" + name)
	for _, a := range attrs {
		text, isText := a.value.(string)
		if !isText {
			text = short(a.value.(float64))
		}
		fmt.Fprintf(&s.body, ` %s="%s"`, a.name, escape(text))
	}
}

func (s *svg) rect(x, y, width, height float64, class string) {
	s.empty("rect", attr{"x", x}, attr{"y", y}, attr{"width", width}, attr{"height", height}, style(class))
}

func (s *svg) line(x1, y1, x2, y2 float64, class string) {
	s.empty("line", attr{"x1", x1}, attr{"y1", y1}, attr{"x2", x2}, attr{"y2", y2}, style(class))
}

func (s *svg) circle(x, y, r float64, class string) {
	s.empty("circle", attr{"cx", x}, attr{"cy", y}, attr{"r", r}, style(class))
}

// path draws a polyline, closed when its class fills it.
func (s *svg) path(class string, points ...[2]float64) {
	var d []string
	for _, p := range points {
		d = append(d, short(p[0])+","+short(p[1]))
	}
	s.empty("path", attr{"d", "M" + strings.Join(d, " L")}, style(class))
}

// text writes one line; its class says how it is aligned.
func (s *svg) text(x, y float64, class, text string) {
	s.open("text", attr{"x", x}, attr{"y", y}, style(class))
	s.body.WriteString(escape(text))
	s.close("text")
}

// write puts the frame round the picture: its size, its name, what it shows in
// words, and its style sheet.
func (s *svg) write(w io.Writer, width, height float64, title, description string) error {
	var frame svg
	across, down := any(width), any(height)
	if s.full {
		across, down = short(width/perMM)+"mm", short(height/perMM)+"mm"
	}
	frame.open("svg",
		attr{"xmlns", "http://www.w3.org/2000/svg"}, attr{"width", across}, attr{"height", down},
		attr{"viewBox", "0 0 " + short(width) + " " + short(height)},
		attr{"role", "img"}, attr{"aria-labelledby", s.id + "-title " + s.id + "-desc"}, style("evenpole-"+s.id))
	frame.words("title", s.id+"-title", title)
	frame.words("desc", s.id+"-desc", description)
	own := strings.NewReplacer("&", ".evenpole-"+s.id, "#hatch", "#"+s.id+"-hatch")
	fmt.Fprintf(&frame.body, "<style>%s</style>\n", own.Replace(sheet))
	frame.body.Write(s.body.Bytes())
	frame.close("svg")
	return write(w, frame.body.Bytes())
}

func (s *svg) words(name, id, text string) {
	s.open(name, attr{"id", id})
	s.body.WriteString(escape(text))
	s.close(name)
}

// sheet is the style of all pictures; & stands for the picture's class, since a
// style sheet inside HTML reaches all pictures of the page.
const sheet = `
& { background: #fff; font: 12px sans-serif; }
& .mid { text-anchor: middle; }
& .end { text-anchor: end; }
& .strong { text-anchor: middle; font-weight: bold; font-size: 11px; }
& .axis { stroke: #000; stroke-width: 1.2; fill: none; }
& .grid { stroke: #ccc; stroke-width: 0.8; fill: none; }
& .dotted { stroke: #777; stroke-width: 1; stroke-dasharray: 1 4; fill: none; }
& .dashed { stroke: #000; stroke-width: 1.2; stroke-dasharray: 5 3; fill: none; }
& .band { fill: #eee; stroke: #888; stroke-width: 0.8; }
& .target { stroke: #000; stroke-width: 2.5; }
& .whisker { stroke: #000; stroke-width: 1.6; }
& .halo { stroke: #fff; stroke-width: 4.5; }
& .inside { fill: #93b7cd; stroke: #000; stroke-width: 1; }
& .outside { fill: url(#hatch); stroke: #000; stroke-width: 1.6; }
& .open { fill: #fff; stroke: #000; stroke-width: 1.2; }
& .solid { fill: #000; stroke: none; }
& .bobbin { fill: #ddd; stroke: #000; stroke-width: 1; }
& .pole { fill: #fff; stroke: #000; stroke-width: 1.4; }
`

// escape makes any text safe in an element or an attribute; what XML cannot
// hold becomes U+FFFD.
func escape(text string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(text)) // a Builder does not fail
	return b.String()
}

// short writes a number to two decimals, without needless ones.
func short(x float64) string { return profiles.Shortest(x, 2) }

// nowhere is a canvas that draws nothing, for measuring a picture.
type nowhere struct{}

func (nowhere) rect(x, y, width, height float64, class string) {}
func (nowhere) line(x1, y1, x2, y2 float64, class string)      {}
func (nowhere) circle(x, y, r float64, class string)           {}
func (nowhere) path(class string, points ...[2]float64)        {}
func (nowhere) text(x, y float64, class, text string)          {}
