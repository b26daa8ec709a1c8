package report

import (
	"bytes"
	"fmt"
	"image/color"
	"io"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// Plot is one picture of a model, drawn as SVG when it is written.
type Plot struct {
	Name  string // of its file, such as "falloff.svg"
	Title string

	caption []string // what the reader has to know of points and intervals
	plot    *plot.Plot
	legend  plot.Legend // beside the plot
	beside  vg.Length   // its width
	width   vg.Length
	height  vg.Length
}

// The plots' measures.
const (
	wide      = 500 * vg.Length(1)
	high      = 310 * vg.Length(1)
	margin    = 10 * vg.Length(1)
	titleSize = 13
	textSize  = 9.5
)

// Greys, so that no picture needs colour.
var (
	ink   = color.Gray{0}
	faint = color.Gray{150}
	band  = color.Gray{225}
)

func newPlot(name, title string, caption ...string) *Plot {
	p := &Plot{Name: name, Title: title, caption: caption, plot: plot.New(), legend: plot.NewLegend(), width: wide, height: high}
	for _, axis := range []*plot.Axis{&p.plot.X, &p.plot.Y} {
		axis.Label.TextStyle.Font = sans(textSize + 0.5)
		axis.Tick.Label.Font = sans(textSize - 0.5)
		axis.Tick.Marker = evenTicks{}
		axis.Padding = 5
	}
	p.legend.TextStyle.Font = sans(textSize)
	p.legend.Left, p.legend.Top = true, true
	p.legend.Padding = 3
	return p
}

func sans(size vg.Length) font.Font {
	return font.From(font.Font{Typeface: "Liberation", Variant: "Sans"}, size)
}

// evenTicks marks an axis at 1, 2 or 5 times a power of ten.
type evenTicks struct{}

// Ticks makes plot.Ticker of it: some four to ten marks.
func (evenTicks) Ticks(low, high float64) []plot.Tick {
	step := math.Pow(10, math.Floor(math.Log10((high-low)/5)))
	for _, times := range []float64{5, 2} {
		if (high-low)/(times*step) >= 4 {
			step *= times
			break
		}
	}
	decimals := max(0, int(-math.Floor(math.Log10(step)+1e-9)))
	var ticks []plot.Tick
	for i := math.Ceil(low/step - 1e-9); i*step <= high+1e-9*step; i++ {
		ticks = append(ticks, plot.Tick{Value: i * step, Label: figure(fmt.Sprintf("%%.%df", decimals), i*step)})
	}
	return ticks
}

// entry names something in the legend.
func (p *Plot) entry(name string, looks ...plot.Thumbnailer) {
	p.legend.Add(name, looks...)
	width := p.legend.TextStyle.Width(name) + p.legend.ThumbnailWidth + 2*margin
	p.beside = max(p.beside, 1.12*width) // a substitute for the font may be wider
}

// Write draws the plot.
func (p *Plot) Write(w io.Writer) error {
	width := p.width + p.beside
	height := p.height + vg.Length(len(p.lines()))*(textSize+3)
	canvas := vgsvg.New(width, height)
	all := vgdraw.New(canvas)
	all.SetColor(color.White)
	all.Fill(all.Rectangle.Path())
	style := text.Style{Color: ink, Font: sans(titleSize), Handler: plot.DefaultTextHandler, YAlign: vgdraw.YTop}
	style.Font.Weight = 3 // bold
	at := vg.Point{X: margin, Y: height - margin}
	all.FillText(style, at, p.Title)
	style.Font = sans(textSize)
	at.Y -= titleSize + 6
	for _, line := range p.lines() {
		all.FillText(style, at, line)
		at.Y -= textSize + 3
	}
	below := height - at.Y + 2
	p.plot.Draw(vgdraw.Crop(all, margin, -p.beside-margin, margin, -below))
	p.legend.Draw(vgdraw.Crop(all, p.width, 0, margin, -below))
	var drawn bytes.Buffer
	if _, err := canvas.WriteTo(&drawn); err != nil {
		return err
	}
	return p.frame(w, width, height, drawn.String())
}

// lines breaks the caption into lines that fit, in a wider font too.
func (p *Plot) lines() []string {
	const letter = 0.54 * textSize
	var lines []string
	for _, c := range p.caption {
		lines = append(lines, folded(c, int((p.width+p.beside-2*margin)/letter))...)
	}
	return lines
}

// frame puts the plot's name and words on what the canvas drew, and fonts that
// stand in where its own is not installed.
func (p *Plot) frame(w io.Writer, width, height vg.Length, drawn string) error {
	_, body, ok := strings.Cut(drawn, "<g ")
	if !ok {
		return fmt.Errorf("plot %q: the canvas drew no group", p.Name)
	}
	body = strings.ReplaceAll(body, "font-family:Liberation Sans", "font-family:Liberation Sans,Arial,Helvetica,sans-serif")
	var head svg
	id := strings.TrimSuffix(p.Name, ".svg")
	head.open("svg", attr{"xmlns", "http://www.w3.org/2000/svg"},
		attr{"width", short(width.Points()) + "pt"}, attr{"height", short(height.Points()) + "pt"},
		attr{"viewBox", "0 0 " + short(width.Points()) + " " + short(height.Points())},
		attr{"role", "img"}, attr{"aria-labelledby", id + "-title " + id + "-desc"})
	head.words("title", id+"-title", p.Title)
	head.words("desc", id+"-desc", strings.Join(p.caption, " "))
	head.body.WriteString("\n<g " + body)
	return write(w, head.body.Bytes())
}

// shapes tell pickups apart; of more pickups than shapes all look the same, and
// only points far off are named.
var shapes = []vgdraw.GlyphDrawer{
	vgdraw.CircleGlyph{}, vgdraw.BoxGlyph{}, vgdraw.TriangleGlyph{}, vgdraw.CrossGlyph{},
	vgdraw.SquareGlyph{}, vgdraw.PyramidGlyph{}, vgdraw.RingGlyph{}, vgdraw.PlusGlyph{},
}

func glyph(i, of int) vgdraw.GlyphStyle {
	g := vgdraw.GlyphStyle{Color: ink, Radius: 2.6, Shape: vgdraw.RingGlyph{}}
	if of <= len(shapes) {
		g.Shape = shapes[i]
	}
	return g
}

// scatter adds points; what it returns goes into a legend.
func (p *Plot) scatter(points plotter.XYs, g vgdraw.GlyphStyle) plot.Thumbnailer {
	s := &plotter.Scatter{XYs: points, GlyphStyle: g}
	p.plot.Add(s)
	return s
}

// stroke is a line's look.
func stroke(width vg.Length, c color.Color, dashes ...vg.Length) vgdraw.LineStyle {
	return vgdraw.LineStyle{Color: c, Width: width, Dashes: dashes}
}

func (p *Plot) line(style vgdraw.LineStyle, points ...plotter.XY) plot.Thumbnailer {
	l := &plotter.Line{XYs: points, LineStyle: style}
	p.plot.Add(l)
	return l
}

// label writes words beside points, kept inside the plot.
func (p *Plot) label(words []string, points plotter.XYs) {
	if len(words) == 0 {
		return
	}
	style := text.Style{Color: ink, Font: sans(textSize - 1), Handler: plot.DefaultTextHandler, YAlign: vgdraw.YCenter}
	l := &plotter.Labels{XYs: points, Labels: words, Offset: vg.Point{X: 5}}
	for range words {
		l.TextStyle = append(l.TextStyle, style)
	}
	p.plot.Add(l)
}

// widen gives an axis some room at both ends.
func widen(a *plot.Axis, share float64) {
	room := share * max(a.Max-a.Min, 0.1)
	a.Min, a.Max = a.Min-room, a.Max+room
}
