package report

import (
	"fmt"
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"
)

// mostPoints is how many points a picture draws one by one. Of more it draws how they
// spread: a page cannot show a hundred thousand points, and a browser hardly opens them.
const mostPoints = 600

// boxWords say what boxes are.
const boxWords = "Line: the median; box: the middle half; whiskers: from 5 to 95 %."

// bin is the points in one stretch of the x axis.
type bin struct {
	from, to  float64
	quantiles [5]float64 // 5, 25, 50, 75 and 95 %
	n         int
}

func (b *bin) middle() float64 { return (b.from + b.to) / 2 }
func (b *bin) median() float64 { return b.quantiles[2] }

// binned shares points out to n stretches as long as each other; stretches without a
// point are left out.
func binned(points plotter.XYs, from, to float64, n int) []bin {
	values := make([][]float64, n)
	for _, pt := range points {
		values[place(pt.X, from, to, n)] = append(values[place(pt.X, from, to, n)], pt.Y)
	}
	var out []bin
	step := (to - from) / float64(n)
	for i, v := range values {
		if len(v) == 0 {
			continue
		}
		slices.Sort(v)
		b := bin{from: from + float64(i)*step, to: from + float64(i+1)*step, n: len(v)}
		for q, share := range []float64{0.05, 0.25, 0.5, 0.75, 0.95} {
			b.quantiles[q] = quantile(v, share)
		}
		out = append(out, b)
	}
	return out
}

// place is the stretch, of n, that a value lies in.
func place(v, from, to float64, n int) int {
	if !(to > from) {
		return 0
	}
	return min(max(0, int(float64(n)*(v-from)/(to-from))), n-1)
}

// quantile is that of sorted values, between the two next to it.
func quantile(sorted []float64, share float64) float64 {
	at := share * float64(len(sorted)-1)
	i := int(at)
	if i+1 == len(sorted) {
		return sorted[i]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}

// boxes draws how the points of each stretch spread.
func (p *Plot) boxes(bins []bin) {
	for i := range bins {
		b := &bins[i]
		x, half := b.middle(), 0.36*(b.to-b.from)
		q := b.quantiles
		p.line(stroke(0.8, faint), plotter.XY{X: x, Y: q[0]}, plotter.XY{X: x, Y: q[4]})
		p.plot.Add(&plotter.Polygon{XYs: []plotter.XYs{rectangle(x-half, q[1], x+half, q[3])}, Color: band, LineStyle: stroke(0.5, faint)})
		p.line(stroke(1.6, ink), plotter.XY{X: x - half, Y: q[2]}, plotter.XY{X: x + half, Y: q[2]})
	}
}

// medians draws the median of each stretch with whiskers from 5 to 95 %; what it returns
// goes into a legend.
func (p *Plot) medians(bins []bin, g vgdraw.GlyphStyle) plot.Thumbnailer {
	var at struct {
		plotter.XYs
		plotter.YErrors
	}
	for i := range bins {
		b := &bins[i]
		at.XYs = append(at.XYs, plotter.XY{X: b.middle(), Y: b.median()})
		at.YErrors = append(at.YErrors, struct{ Low, High float64 }{b.median() - b.quantiles[0], b.quantiles[4] - b.median()})
	}
	p.plot.Add(&plotter.YErrorBars{XYs: at.XYs, YErrors: at.YErrors, LineStyle: stroke(0.6, faint), CapWidth: 3})
	return p.scatter(at.XYs, g)
}

func rectangle(left, low, right, high float64) plotter.XYs {
	return plotter.XYs{{X: left, Y: low}, {X: right, Y: low}, {X: right, Y: high}, {X: left, Y: high}}
}

// A picture of counts is cut into so many columns and rows; a shade is darker than the one
// before for shadeStep times as many points.
const (
	countColumns, countRows = 72, 54
	shadeStep               = 4
)

// counts draws how many points lie where, the more the darker, with a legend.
func (p *Plot) counts(points plotter.XYs) {
	left, right, low, high := plotter.XYRange(points)
	var count [countRows][countColumns]int
	most := 0
	for _, pt := range points {
		n := &count[place(pt.Y, low, high, countRows)][place(pt.X, left, right, countColumns)]
		*n++
		most = max(most, *n)
	}
	shades := make([][]plotter.XYs, shadeOf(most)+1)
	across, up := (right-left)/countColumns, (high-low)/countRows
	for r, row := range count {
		for c := 0; c < countColumns; {
			n := c + 1
			for n < countColumns && shadeOf(row[n]) == shadeOf(row[c]) {
				n++
			}
			if row[c] > 0 {
				s := shadeOf(row[c])
				shades[s] = append(shades[s], rectangle(left+float64(c)*across, low+float64(r)*up, left+float64(n)*across, low+float64(r+1)*up))
			}
			c = n
		}
	}
	for s, rectangles := range shades {
		if len(rectangles) > 0 {
			area := &plotter.Polygon{XYs: rectangles, Color: grey(s, len(shades))}
			p.plot.Add(area)
			p.entry(shadeWords(s), area)
		}
	}
}

// shadeOf numbers the shade of a count from 0: of 1, to shadeStep, to its square, and so
// on; -1 of none.
func shadeOf(n int) int {
	if n == 0 {
		return -1
	}
	s := 0
	for most := 1; n > most; most *= shadeStep {
		s++
	}
	return s
}

func shadeWords(s int) string {
	to := int(math.Pow(shadeStep, float64(s)))
	if s == 0 {
		return "1 cell"
	}
	return fmt.Sprintf("%d to %d", to/shadeStep+1, to)
}

// grey is shade s of so many.
func grey(s, of int) color.Gray {
	const light, dark = 225, 120
	return color.Gray{uint8(light - (light-dark)*s/max(1, of-1))}
}

// dashed draws a line with dashes; what it returns goes into a legend.
func (p *Plot) dashed(points plotter.XYs) plot.Thumbnailer {
	return p.line(stroke(1, ink, 4*vg.Length(1), 3), points...)
}
