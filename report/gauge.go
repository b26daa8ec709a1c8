package report

import (
	"fmt"
	"io"

	"evenpole/profiles"
)

// The measures of a height gauge, in mm where nothing else is said.
const (
	gaugeAbove     = 14.0          // of card above the bobbin plane
	cardRow        = 13.0          // user units, between rows of numbers on the card
	gaugePlay      = 0.3           // between a pole and the notch over it, on either side
	checkBar       = 50.0          // for a ruler
	checkBarInches = 50.8          // two of them
	leastWidth     = 190.0 * perMM // user units: as wide as A4 and Letter print
)

// FullSize draws the picture at 1:1 with a height gauge to cut out: a card whose
// lower edge stands on the bobbin plane, with a notch as high as each pole.
// format is "svg" or "pdf".
func FullSize(w io.Writer, p PolePicture, format string) error {
	if err := p.check(); err != nil {
		return err
	}
	switch format {
	case "svg":
		s := &svg{id: "gauge", full: true}
		width, height := drawGauge(p, s)
		return s.write(w, width, height, p.Title+", full size", p.words())
	case "pdf":
		width, height := drawGauge(p, nowhere{})
		s := newPDF(width, height, p.Title+", full size")
		drawGauge(p, s)
		return s.write(w)
	}
	return fmt.Errorf("full size: expected the format svg or pdf, got %q", format)
}

// drawGauge draws all of the sheet and returns its width and height in user
// units.
func drawGauge(p PolePicture, c canvas) (width, height float64) {
	e := newElevation(p, c)
	e.scale, e.above = perMM, 40
	e.right = poleLeft + e.across()*perMM
	width = max(leastWidth, e.right+20)
	c.text(10, 18, "start", p.Title+", full size")
	e.draw()

	plane := e.foot() + 43 + gaugeAbove*perMM
	c.path("open", e.card(plane)...)
	for i, q := range p.Poles {
		row := float64(i % e.rows())
		c.text(e.x(i), plane-(gaugeAbove-3.5)*perMM+cardRow*row, "strong", label(q.String, "", e.room(i)))
	}
	y := plane + 30
	lines := []string{
		"Cut the card out along its line. Its lower edge stands on the bobbin plane, and each notch is as high as its pole.",
		p.Units.Text("Scissors are good to some 0.2 mm: measure the last of it with a caliper or feeler gauges."),
	}
	for _, text := range p.Cautions {
		lines = append(lines, "Caution: "+text)
	}
	for _, line := range lines {
		c.text(10, y, "start", line)
		y += 16
	}
	y += 14
	long, words := checkBar, "50 mm"
	if p.Units == profiles.Inches {
		long, words = checkBarInches, "2 in"
	}
	bar(c, 10, y, long)
	c.text(10+long*perMM+10, y+4, "start", words+" on a ruler? If not, print again at 100 % (actual size).")
	return width, y + 20
}

// bar is a line of so many mm with its ends marked.
func bar(c canvas, x, y, mm float64) {
	c.line(x, y, x+mm*perMM, y, "axis")
	for _, at := range []float64{x, x + mm*perMM} {
		c.line(at, y-4, at, y+4, "axis")
	}
}

// card is the gauge's outline over a plane: notches over poles that stand out,
// tongues into the holes of those that are sunk.
func (e *elevation) card(plane float64) [][2]float64 {
	left, right, top := poleLeft, e.right, plane-gaugeAbove*perMM
	points := [][2]float64{{left, top}, {left, plane}}
	for _, b := range e.bodies {
		half := (b.Width/2 + gaugePlay) * perMM
		if b.Height < 0 {
			half = (b.Width/2 - gaugePlay) * perMM
		}
		if known(b.Height) {
			x, y := e.mm(b.X), plane-b.Height*perMM
			points = append(points, [2]float64{x - half, plane}, [2]float64{x - half, y}, [2]float64{x + half, y}, [2]float64{x + half, plane})
		}
	}
	return append(points, [2]float64{right, plane}, [2]float64{right, top}, [2]float64{left, top})
}
