package report

import (
	"bytes"
	"cmp"
	"fmt"
	"image/color"
	"io"
	"math"
	"slices"
	"strings"

	"evenpole/fit/explain"

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

// Plots makes the pictures of a model that its diagnosis has something for.
func Plots(d *explain.Diagnosis) []*Plot {
	names := pickups(d)
	var out []*Plot
	for _, p := range []*Plot{predictedPlot(d, names), fallPlot(d), stringsPlot(d, names), sessionsPlot(d, names)} {
		if p != nil {
			out = append(out, p)
		}
	}
	for _, g := range d.Effects {
		if len(g.Levels) > 0 {
			out = append(out, effectPlot(g))
		}
	}
	return out
}

// pickups lists the pickups in order.
func pickups(d *explain.Diagnosis) []string {
	var names []string
	for _, c := range d.Cells {
		if !slices.Contains(names, c.Pickup) {
			names = append(names, c.Pickup)
		}
	}
	return names
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

// byPickup adds points in the shapes of their pickups, with a legend.
func (p *Plot) byPickup(names []string, of []string, points plotter.XYs) {
	if len(names) > len(shapes) {
		p.scatter(points, glyph(0, len(names)))
		return
	}
	for i, name := range names {
		var own plotter.XYs
		for k, pt := range points {
			if of[k] == name {
				own = append(own, pt)
			}
		}
		if len(own) > 0 {
			p.entry(cmp.Or(name, "pickup"), p.scatter(own, glyph(i, len(names))))
		}
	}
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

// mostNamed is how many of the farthest points are named: more would cover each
// other.
const mostNamed = 6

// nameFarthest names the points that are off by more than 1, farthest first.
func (p *Plot) nameFarthest(d *explain.Diagnosis, points plotter.XYs, off []float64) {
	var order []int
	for i := range points {
		if off[i] > 1 {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(off[j], off[i]) })
	order = order[:min(len(order), mostNamed)]
	var words []string
	var at plotter.XYs
	for _, i := range order {
		word := strings.TrimPrefix(fmt.Sprintf("%s/%d", d.Cells[i].Pickup, d.Cells[i].String), "/")
		if k := slices.IndexFunc(at, func(pt plotter.XY) bool { return p.near(pt, points[i]) }); k >= 0 {
			words[k] += ", " + word
			continue
		}
		words, at = append(words, word), append(at, points[i])
	}
	p.label(words, at)
}

// near reports whether names of two points would cover each other.
func (p *Plot) near(a, b plotter.XY) bool {
	x, y := &p.plot.X, &p.plot.Y
	return math.Abs(a.X-b.X) < 0.12*(x.Max-x.Min) && math.Abs(a.Y-b.Y) < 0.04*(y.Max-y.Min)
}

// widen gives an axis some room at both ends.
func widen(a *plot.Axis, share float64) {
	room := share * max(a.Max-a.Min, 0.1)
	a.Min, a.Max = a.Min-room, a.Max+room
}

// predictedPlot shows each cell's balance as measured over the one predicted
// from the other pickups; nil when none could be.
func predictedPlot(d *explain.Diagnosis, names []string) *Plot {
	interval := "Bars: 95 % of what a prediction can miss, by the model's uncertainty and scatter and the takes' noise."
	if d.Effects == nil {
		interval = "Bars: 95 % by what the model leaves of cells that it was fitted to; the truth is wider."
	}
	p := newPlot("predicted.svg", "Balance: measured over predicted",
		"Each pickup is predicted from the others only (left out of the fit), its mean level taken off. Model: "+d.Kind+".", interval,
		"Points on the line are predicted exactly; those whose bar misses it are named pickup/string, farthest first.")
	var bars struct {
		plotter.XYs
		plotter.YErrors
	}
	var of []string
	known := &explain.Diagnosis{}
	var off []float64
	var missed float64
	for _, c := range d.Cells {
		if math.IsNaN(c.Predicted) {
			continue
		}
		of = append(of, c.Pickup)
		known.Cells = append(known.Cells, c)
		bars.XYs = append(bars.XYs, plotter.XY{X: c.Predicted, Y: c.Measured})
		half := c.Half
		if math.IsNaN(half) {
			half = 0
		}
		bars.YErrors = append(bars.YErrors, struct{ Low, High float64 }{half, half})
		off = append(off, math.Abs(c.Measured-c.Predicted)/max(half, 1e-9))
		missed += (c.Measured - c.Predicted) * (c.Measured - c.Predicted)
	}
	if len(of) == 0 {
		return nil
	}
	p.caption[0] += fmt.Sprintf(" Missed by %.2f dB (rms).", math.Sqrt(missed/float64(len(of))))
	whiskers := &plotter.YErrorBars{XYs: bars.XYs, YErrors: bars.YErrors, LineStyle: stroke(0.6, faint), CapWidth: 3}
	p.plot.Add(whiskers)
	p.byPickup(names, of, bars.XYs)
	p.nameFarthest(known, bars.XYs, off)
	low, high := min(p.plot.X.Min, p.plot.Y.Min), max(p.plot.X.Max, p.plot.Y.Max)
	p.line(stroke(0.8, ink), plotter.XY{X: low, Y: low}, plotter.XY{X: high, Y: high})
	widen(&p.plot.X, 0.03)
	widen(&p.plot.Y, 0.03)
	p.plot.X.Label.Text, p.plot.Y.Label.Text = "predicted balance, dB", "measured balance, dB"
	p.height += 60
	return p
}

// fallPlot shows how level falls with the gap, other causes taken off.
func fallPlot(d *explain.Diagnosis) *Plot {
	if len(d.Fall) == 0 {
		return nil
	}
	p := newPlot("falloff.svg", "How level falls with the gap",
		fmt.Sprintf("Points: a cell each, all causes but its gap taken off, what the model leaves added (partial residual). 0 dB at %.1f mm.", explain.ReferenceGap),
		"Bands: 95 % by the uncertainty of the curve's parameters alone. Classes: strings with as much steel as plain ones of these diameters.")
	looks := []vgdraw.LineStyle{stroke(1.4, ink), stroke(1.4, ink, 6, 3), stroke(1.4, ink, 1.5, 2.5)}
	for _, c := range d.Fall {
		p.plot.Add(bandOf(c.Curve))
	}
	for i, c := range d.Fall {
		var points, curve plotter.XYs
		for _, pt := range c.Points {
			points = append(points, plotter.XY{X: pt.Gap, Y: pt.Level})
		}
		for _, pt := range c.Curve {
			curve = append(curve, plotter.XY{X: pt.Gap, Y: pt.Level})
		}
		name := fmt.Sprintf("%.2f to %.2f mm", c.From, c.To)
		p.entry(name, p.line(looks[i%len(looks)], curve...), p.scatter(points, glyph(i, len(d.Fall))))
	}
	p.plot.X.Label.Text, p.plot.Y.Label.Text = "gap from the pole's top to the string's axis, mm", "level, dB"
	widen(&p.plot.X, 0.02)
	return p
}

// bandOf is the area between a curve's limits.
func bandOf(curve []explain.FallPoint) *plotter.Polygon {
	var edge plotter.XYs
	for _, pt := range curve {
		edge = append(edge, plotter.XY{X: pt.Gap, Y: pt.Level + pt.Half})
	}
	for _, pt := range slices.Backward(curve) {
		edge = append(edge, plotter.XY{X: pt.Gap, Y: pt.Level - pt.Half})
	}
	return &plotter.Polygon{XYs: []plotter.XYs{edge}, Color: band}
}

// residuals adds what the model leaves of cells at given places.
func (p *Plot) residuals(d *explain.Diagnosis, names []string, place func(c *explain.Diagnosed) float64) {
	var points plotter.XYs
	var of []string
	var off []float64
	sd := 0.0
	for i := range d.Cells {
		c := &d.Cells[i]
		points = append(points, plotter.XY{X: place(c), Y: c.Residual})
		of = append(of, c.Pickup)
		sd += c.Residual * c.Residual / float64(len(d.Cells))
	}
	for _, pt := range points {
		off = append(off, math.Abs(pt.Y)/(3*math.Sqrt(sd)))
	}
	p.byPickup(names, of, points)
	p.nameFarthest(d, points, off)
	p.plot.Y.Label.Text = "measured less fitted, dB"
	reach := 1.1 * max(math.Abs(p.plot.Y.Min), math.Abs(p.plot.Y.Max), 0.05)
	p.plot.Y.Min, p.plot.Y.Max = -reach, reach
}

// residualsCaption says what was taken off.
func residualsCaption(d *explain.Diagnosis) string {
	if d.Effects == nil {
		return "What the model leaves of each cell, its pickup's mean taken off."
	}
	return "What the curve and all its effects (pickup, batch, pole, string, channel, setup) leave of each cell."
}

const farNamed = "Points beyond three standard deviations are named pickup/string."

// stringsPlot shows what the model leaves, by string.
func stringsPlot(d *explain.Diagnosis, names []string) *Plot {
	if len(d.Cells) == 0 {
		return nil
	}
	p := newPlot("residuals-by-string.svg", "What the model leaves, by string", residualsCaption(d), farNamed)
	last := 0
	for _, c := range d.Cells {
		last = max(last, c.String)
	}
	p.residuals(d, names, func(c *explain.Diagnosed) float64 {
		spread := (float64(slices.Index(names, c.Pickup))+0.5)/float64(len(names)) - 0.5
		return float64(c.String) + 0.6*spread
	})
	var ticks []plot.Tick
	for s := range last {
		ticks = append(ticks, plot.Tick{Value: float64(s + 1), Label: fmt.Sprint(s + 1)})
	}
	p.plot.X.Tick.Marker = plot.ConstantTicks(ticks)
	p.plot.X.Min, p.plot.X.Max = 0.5, float64(last)+0.5
	p.plot.X.Label.Text = "string"
	p.zero()
	return p
}

// zero draws the line of no difference.
func (p *Plot) zero() {
	x := &p.plot.X
	p.line(stroke(0.8, ink), plotter.XY{X: x.Min, Y: 0}, plotter.XY{X: x.Max, Y: 0})
}

// visit is one session of a pickup.
type visit struct{ pickup, session string }

// visits lists the sessions in time order.
func visits(d *explain.Diagnosis) []visit {
	cells := slices.Clone(d.Cells)
	slices.SortStableFunc(cells, func(a, b explain.Diagnosed) int {
		return cmp.Or(a.First.Compare(b.First), strings.Compare(a.Session, b.Session))
	})
	var out []visit
	for _, c := range cells {
		if v := (visit{c.Pickup, c.Session}); !slices.Contains(out, v) {
			out = append(out, v)
		}
	}
	return out
}

// mostTicks is how many sessions can be named along an axis.
const mostTicks = 30

// sessionsPlot shows what the model leaves over sessions in time order.
func sessionsPlot(d *explain.Diagnosis, names []string) *Plot {
	order := visits(d)
	if len(order) < 2 {
		return nil
	}
	p := newPlot("residuals-in-time.svg", "What the model leaves, session by session", residualsCaption(d), farNamed+" Bars: the mean of a session.")
	p.residuals(d, names, func(c *explain.Diagnosed) float64 { return float64(slices.Index(order, visit{c.Pickup, c.Session})) })
	var ticks []plot.Tick
	every := (len(order) + mostTicks - 1) / mostTicks
	for i, v := range order {
		mean, n := 0.0, 0.0
		for _, c := range d.Cells {
			if (visit{c.Pickup, c.Session}) == v {
				mean += c.Residual
				n++
			}
		}
		x := float64(i)
		p.line(stroke(2, faint), plotter.XY{X: x - 0.3, Y: mean / n}, plotter.XY{X: x + 0.3, Y: mean / n})
		if i%every == 0 {
			ticks = append(ticks, plot.Tick{Value: x, Label: strings.TrimSpace(v.session + " " + v.pickup)})
		}
	}
	x := &p.plot.X
	x.Tick.Marker = plot.ConstantTicks(ticks)
	x.Tick.Label.Rotation = math.Pi / 3
	x.Tick.Label.XAlign, x.Tick.Label.YAlign = vgdraw.XRight, vgdraw.YCenter
	x.Min, x.Max = -0.5, float64(len(order))-0.5
	x.Label.Text = "session, in time order"
	p.height += 40
	p.zero()
	return p
}

// effectWords say what an effect is; an effect without is called by its name.
var effectWords = map[string][2]string{
	"pickup":  {"Pickups", "How loud a pickup is as a whole: its coil."},
	"batch":   {"Magnet batches", "How loud pickups with magnets of a batch are."},
	"pole":    {"Poles", "What one magnet under one string of one pickup adds."},
	"string":  {"Strings", "What one physical string adds to what its diameters say."},
	"channel": {"The jig's slots", "What a slot of the jig adds, whichever pickup is on it."},
	"magnet":  {"Magnets", "What a magnet adds whose field was not measured, where those of others were."},
	"setup":   {"Mountings", "How much higher the strings of a session lay than was said."},
}

// mostLevels is how many levels of an effect are drawn.
const mostLevels = 48

// effectPlot shows the levels of an effect with their intervals.
func effectPlot(g explain.EffectGroup) *Plot {
	words, ok := effectWords[g.Name]
	if !ok {
		words = [2]string{g.Name, ""}
	}
	p := newPlot("effects-"+strings.ReplaceAll(g.Name, " ", "-")+".svg", words[0]+" beside each other", words[1],
		fmt.Sprintf("Points: estimates drawn towards 0 as far as the data are few. Dashed: the model's standard deviation, %.3g %s.", g.SD, g.Unit),
		"Bars: 95 %, given the model's standard deviations, with the uncertainty of the curve.")
	levels := slices.Clone(g.Levels)
	if len(levels) > mostLevels {
		slices.SortStableFunc(levels, func(a, b explain.EffectLevel) int { return cmp.Compare(math.Abs(b.Value), math.Abs(a.Value)) })
		levels = levels[:mostLevels]
		p.caption = append(p.caption, fmt.Sprintf("The %d farthest from 0 of %d.", mostLevels, len(g.Levels)))
	}
	slices.SortStableFunc(levels, func(a, b explain.EffectLevel) int { return strings.Compare(a.Name, b.Name) })
	var points plotter.XYs
	var bars plotter.XErrors
	var names []string
	for _, l := range slices.Backward(levels) {
		points = append(points, plotter.XY{X: l.Value, Y: float64(len(points))})
		bars = append(bars, struct{ Low, High float64 }{l.Half, l.Half})
		names = append(names, shortName(l.Name))
	}
	p.plot.Add(&plotter.XErrorBars{XYs: points, XErrors: bars, LineStyle: stroke(0.8, ink), CapWidth: 4})
	p.scatter(points, vgdraw.GlyphStyle{Color: ink, Radius: 2.6, Shape: vgdraw.CircleGlyph{}})
	y := &p.plot.Y
	p.plot.NominalY(names...)
	y.Tick.Label.Font = sans(textSize - 0.5)
	y.Min, y.Max = -0.6, float64(len(points))-0.4
	for _, x := range []float64{-g.SD, 0, g.SD} {
		style := stroke(0.8, faint, 4, 3)
		if x == 0 {
			style = stroke(0.8, ink)
		}
		p.line(style, plotter.XY{X: x, Y: y.Min}, plotter.XY{X: x, Y: y.Max})
	}
	p.plot.X.Label.Text = "effect, " + g.Unit
	p.height = 90 + 13*vg.Length(max(len(points), 3))
	widen(&p.plot.X, 0.05)
	y.Padding = 12
	return p
}

// shortName cuts a name that would leave no room for the plot.
func shortName(name string) string {
	const most = 34
	if r := []rune(name); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return name
}
