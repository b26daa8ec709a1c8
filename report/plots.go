package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenpole/fit/explain"
	"evenpole/profiles"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"
)

// Plots makes the pictures of a model that its diagnosis has something for. Lengths are
// told in units.
func Plots(d *explain.Diagnosis, u profiles.Units) []*Plot {
	names := pickups(d)
	var out []*Plot
	for _, p := range []*Plot{predictedPlot(d, names), fallPlot(d, u), stringsPlot(d, names), sessionsPlot(d, names)} {
		if p != nil {
			out = append(out, p)
		}
	}
	for _, g := range d.Effects {
		if len(g.Levels) > 0 {
			out = append(out, effectPlot(g, u))
		}
	}
	return out
}

// pickups lists the pickups in order.
func pickups(d *explain.Diagnosis) []string {
	var names []string
	seen := map[string]bool{}
	for i := range d.Cells {
		if p := d.Cells[i].Pickup; !seen[p] {
			seen[p] = true
			names = append(names, p)
		}
	}
	return names
}

// byPickup adds points in the shapes of their pickups, with a legend.
func (p *Plot) byPickup(names []string, cells []*explain.Diagnosed, points plotter.XYs) {
	if len(names) > len(shapes) {
		p.scatter(points, glyph(0, len(names)))
		return
	}
	for i, name := range names {
		var own plotter.XYs
		for k, pt := range points {
			if cells[k].Pickup == name {
				own = append(own, pt)
			}
		}
		if len(own) > 0 {
			p.entry(cmp.Or(name, "pickup"), p.scatter(own, glyph(i, len(names))))
		}
	}
}

// mostNamed is how many of the farthest points are named: more would cover each
// other.
const mostNamed = 6

// nameFarthest names the points, one a cell, that are off by more than 1, farthest first.
// It draws them, where the points are too many to be drawn each.
func (p *Plot) nameFarthest(cells []*explain.Diagnosed, points plotter.XYs, off []float64) {
	var order []int
	for i := range points {
		if off[i] > 1 {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(off[j], off[i]) })
	order = order[:min(len(order), mostNamed)]
	if len(points) > mostPoints {
		var far plotter.XYs
		for _, i := range order {
			far = append(far, points[i])
		}
		p.scatter(far, glyph(0, len(points)))
	}
	var words []string
	var at plotter.XYs
	for _, i := range order {
		word := strings.TrimPrefix(fmt.Sprintf("%s/%d", cells[i].Pickup, cells[i].String), "/")
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

// predictedPlot shows each cell's balance as measured over the one predicted
// from the other pickups; nil when none could be.
func predictedPlot(d *explain.Diagnosis, names []string) *Plot {
	var cells []*explain.Diagnosed
	var points plotter.XYs
	var halves, off []float64
	var missed, inside float64
	for i := range d.Cells {
		c := &d.Cells[i]
		if math.IsNaN(c.Predicted) {
			continue
		}
		half, miss := c.Half, c.Measured-c.Predicted
		if math.IsNaN(half) {
			half = 0
		}
		cells, points, halves = append(cells, c), append(points, plotter.XY{X: c.Predicted, Y: c.Measured}), append(halves, half)
		off = append(off, math.Abs(miss)/max(half, 1e-9))
		missed += miss * miss
		if math.Abs(miss) <= half {
			inside++
		}
	}
	if len(cells) == 0 {
		return nil
	}
	n := float64(len(cells))
	many := len(cells) > mostPoints
	p := newPlot("predicted.svg", "Balance: measured over predicted", predictedCaption(d, many)...)
	p.caption[0] += fmt.Sprintf(" Missed by %.2f dB (rms).", math.Sqrt(missed/n))
	if many {
		p.caption[1] += fmt.Sprintf(" %.1f %% of %s lie within theirs.", 100*inside/n, profiles.Count(len(cells), "cell"))
		p.counts(points)
		p.halfWidths(points, halves)
	} else {
		p.whiskers(points, halves)
		p.byPickup(names, cells, points)
	}
	p.nameFarthest(cells, points, off)
	low, high := min(p.plot.X.Min, p.plot.Y.Min), max(p.plot.X.Max, p.plot.Y.Max)
	p.line(stroke(0.8, ink), plotter.XY{X: low, Y: low}, plotter.XY{X: high, Y: high})
	widen(&p.plot.X, 0.03)
	widen(&p.plot.Y, 0.03)
	p.plot.X.Label.Text, p.plot.Y.Label.Text = "predicted balance, dB", "measured balance, dB"
	p.height += 60
	return p
}

// predictedCaption says what the reader has to know of it, by what is drawn.
func predictedCaption(d *explain.Diagnosis, many bool) []string {
	bars, points := "Bars: 95 %", "Points on the line are predicted exactly; those whose bar misses it are named pickup/string, farthest first."
	if many {
		bars, points = "Dashed: 95 % (the median of the cells' intervals)", "Cells on the line are predicted exactly; shades: how many lie where. The farthest beyond their intervals are named pickup/string."
	}
	interval := bars + " of what a prediction can miss, by the model's uncertainty and scatter and the takes' noise."
	if d.Effects == nil {
		interval = bars + " by what the model leaves of cells that it was fitted to; the truth is wider."
	}
	return []string{"Each pickup is predicted from the others only (left out of the fit), its mean level taken off. Model: " + d.Kind + ".", interval, points}
}

// whiskers draws the interval of each point.
func (p *Plot) whiskers(points plotter.XYs, halves []float64) {
	var errors plotter.YErrors
	for _, half := range halves {
		errors = append(errors, struct{ Low, High float64 }{half, half})
	}
	p.plot.Add(&plotter.YErrorBars{XYs: points, YErrors: errors, LineStyle: stroke(0.6, faint), CapWidth: 3})
}

// halfWidths draws the median interval of the points of each stretch, about the line where
// predictions are exact.
func (p *Plot) halfWidths(points plotter.XYs, halves []float64) {
	const stretches = 24
	of := make(plotter.XYs, len(points))
	for i, pt := range points {
		of[i] = plotter.XY{X: pt.X, Y: halves[i]}
	}
	from, to, _, _ := plotter.XYRange(of)
	var above, below plotter.XYs
	for _, b := range binned(of, from, to, stretches) {
		above = append(above, plotter.XY{X: b.middle(), Y: b.middle() + b.median()})
		below = append(below, plotter.XY{X: b.middle(), Y: b.middle() - b.median()})
	}
	p.dashed(below)
	p.entry("95 %", p.dashed(above))
}

// fallPlot shows how level falls with the gap, other causes taken off.
func fallPlot(d *explain.Diagnosis, u profiles.Units) *Plot {
	if len(d.Fall) == 0 {
		return nil
	}
	all := 0
	for _, c := range d.Fall {
		all += len(c.Points)
	}
	each := "a cell each"
	if all > mostPoints {
		each = fmt.Sprintf("medians of %d cells at gaps alike, whiskers from 5 to 95 %%", all)
	}
	p := newPlot("falloff.svg", "How level falls with the gap",
		profiles.Sprintf("Points: %s, all causes but its gap taken off, what the model leaves added (partial residual). 0 dB at %s.", each, u.Text(profiles.Sprintf("%.1f mm", explain.ReferenceGap))),
		"Bands: 95 % by the uncertainty of the curve's parameters alone. Classes: strings with as much steel as plain ones of these diameters.")
	looks := []vgdraw.LineStyle{stroke(1.4, ink), stroke(1.4, ink, 6, 3), stroke(1.4, ink, 1.5, 2.5)}
	factor, unit := u.Of("mm")
	for _, c := range d.Fall {
		p.plot.Add(bandOf(c.Curve, factor))
	}
	for i, c := range d.Fall {
		var points, curve plotter.XYs
		for _, pt := range c.Points {
			points = append(points, plotter.XY{X: factor * pt.Gap, Y: pt.Level})
		}
		for _, pt := range c.Curve {
			curve = append(curve, plotter.XY{X: factor * pt.Gap, Y: pt.Level})
		}
		name := u.Text(profiles.Sprintf("%.2f to %.2f mm", c.From, c.To))
		line := p.line(looks[i%len(looks)], curve...)
		if g := glyph(i, len(d.Fall)); all > mostPoints {
			const stretches = 24
			from, to, _, _ := plotter.XYRange(points)
			p.entry(name, line, p.medians(binned(points, from, to, stretches), g))
		} else {
			p.entry(name, line, p.scatter(points, g))
		}
	}
	p.plot.X.Label.Text, p.plot.Y.Label.Text = "gap from the pole's top to the string's axis, "+unit, "level, dB"
	widen(&p.plot.X, 0.02)
	return p
}

// bandOf is the area between a curve's limits; a gap in mm, times factor, is as it is told.
func bandOf(curve []explain.FallPoint, factor float64) *plotter.Polygon {
	var edge plotter.XYs
	for _, pt := range curve {
		edge = append(edge, plotter.XY{X: factor * pt.Gap, Y: pt.Level + pt.Half})
	}
	for _, pt := range slices.Backward(curve) {
		edge = append(edge, plotter.XY{X: factor * pt.Gap, Y: pt.Level - pt.Half})
	}
	return &plotter.Polygon{XYs: []plotter.XYs{edge}, Color: band}
}

// residuals adds what the model leaves of cells at given places: from, to and how many
// stretches they are shared out to where they are many.
func (p *Plot) residuals(d *explain.Diagnosis, names []string, place func(c *explain.Diagnosed) float64, from, to float64, stretches int) {
	var cells []*explain.Diagnosed
	var points plotter.XYs
	var off []float64
	sd := 0.0
	for i := range d.Cells {
		c := &d.Cells[i]
		cells, points = append(cells, c), append(points, plotter.XY{X: place(c), Y: c.Residual})
		sd += c.Residual * c.Residual / float64(len(d.Cells))
	}
	for _, pt := range points {
		off = append(off, math.Abs(pt.Y)/(3*math.Sqrt(sd)))
	}
	if len(points) > mostPoints {
		p.boxes(binned(points, from, to, stretches))
	} else {
		p.byPickup(names, cells, points)
	}
	p.nameFarthest(cells, points, off)
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

// farNamed says which points are named; of many, the farthest.
func farNamed(d *explain.Diagnosis, few string) string {
	if len(d.Cells) > mostPoints {
		return fmt.Sprintf("%s. %s The farthest beyond three standard deviations are named pickup/string.", profiles.Count(len(d.Cells), "cell"), boxWords)
	}
	return "Points beyond three standard deviations are named pickup/string." + few
}

// stringsPlot shows what the model leaves, by string.
func stringsPlot(d *explain.Diagnosis, names []string) *Plot {
	if len(d.Cells) == 0 {
		return nil
	}
	p := newPlot("residuals-by-string.svg", "What the model leaves, by string", residualsCaption(d), farNamed(d, ""))
	last := 0
	for _, c := range d.Cells {
		last = max(last, c.String)
	}
	number := map[string]int{}
	for i, name := range names {
		number[name] = i
	}
	end := float64(last) + 0.5
	p.residuals(d, names, func(c *explain.Diagnosed) float64 {
		spread := (float64(number[c.Pickup])+0.5)/float64(len(names)) - 0.5
		return float64(c.String) + 0.6*spread
	}, 0.5, end, last)
	var ticks []plot.Tick
	for s := range last {
		ticks = append(ticks, plot.Tick{Value: float64(s + 1), Label: fmt.Sprint(s + 1)})
	}
	p.plot.X.Tick.Marker = plot.ConstantTicks(ticks)
	p.plot.X.Min, p.plot.X.Max = 0.5, end
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

func visitOf(c *explain.Diagnosed) visit { return visit{c.Pickup, c.Session} }

// visits lists the sessions in time order.
func visits(d *explain.Diagnosis) []visit {
	cells := make([]*explain.Diagnosed, len(d.Cells))
	for i := range cells {
		cells[i] = &d.Cells[i]
	}
	slices.SortStableFunc(cells, func(a, b *explain.Diagnosed) int {
		return cmp.Or(a.First.Compare(b.First), strings.Compare(a.Session, b.Session))
	})
	var out []visit
	seen := map[visit]bool{}
	for _, c := range cells {
		if v := visitOf(c); !seen[v] {
			seen[v] = true
			out = append(out, v)
		}
	}
	return out
}

// mostTicks is how many sessions can be named along an axis; mostStretches how many
// stretches of time there is room for.
const mostTicks, mostStretches = 30, 60

// sessionsPlot shows what the model leaves over sessions in time order.
func sessionsPlot(d *explain.Diagnosis, names []string) *Plot {
	order := visits(d)
	if len(order) < 2 {
		return nil
	}
	number := map[visit]int{}
	for i, v := range order {
		number[v] = i
	}
	p := newPlot("residuals-in-time.svg", "What the model leaves, session by session", residualsCaption(d), farNamed(d, " Bars: the mean of a session."))
	from, to := -0.5, float64(len(order))-0.5
	p.residuals(d, names, func(c *explain.Diagnosed) float64 { return float64(number[visitOf(c)]) }, from, to, min(len(order), mostStretches))
	if len(d.Cells) <= mostPoints {
		p.sessionMeans(d, number)
	}
	var ticks []plot.Tick
	every := (len(order) + mostTicks - 1) / mostTicks
	for i := 0; i < len(order); i += every {
		ticks = append(ticks, plot.Tick{Value: float64(i), Label: strings.TrimSpace(order[i].session + " " + order[i].pickup)})
	}
	x := &p.plot.X
	x.Tick.Marker = plot.ConstantTicks(ticks)
	x.Tick.Label.Rotation = math.Pi / 3
	x.Tick.Label.XAlign, x.Tick.Label.YAlign = vgdraw.XRight, vgdraw.YCenter
	x.Min, x.Max = from, to
	x.Label.Text = "session, in time order"
	p.height += 40
	p.zero()
	return p
}

// sessionMeans draws the mean of each session.
func (p *Plot) sessionMeans(d *explain.Diagnosis, number map[visit]int) {
	sum, n := make([]float64, len(number)), make([]float64, len(number))
	for i := range d.Cells {
		v := number[visitOf(&d.Cells[i])]
		sum[v] += d.Cells[i].Residual
		n[v]++
	}
	for i := range sum {
		x, mean := float64(i), sum[i]/n[i]
		p.line(stroke(2, faint), plotter.XY{X: x - 0.3, Y: mean}, plotter.XY{X: x + 0.3, Y: mean})
	}
}

// effectWords say what an effect is; an effect without is called by its name.
var effectWords = map[string][2]string{
	"pickup":   {"Pickups", "How loud a pickup is as a whole: its coil."},
	"batch":    {"Magnet batches", "How loud pickups with magnets of a batch are."},
	"pole":     {"Poles", "What one magnet under one string of one pickup adds."},
	"string":   {"Strings", "What one physical string adds to what its diameters say."},
	"channel":  {"The jig's slots", "What a slot of the jig adds, whichever pickup is on it."},
	"magnet":   {"Magnets", "What a magnet adds whose field was not measured, where those of others were."},
	"setup":    {"Mountings", "How much higher the strings of a session lay than was said."},
	"recorder": {"Recorders", "How loud a recorder is, as it was set, whose levels are in no known unit."},
	"jig":      {"Jigs", "How loud a jig reads beside the others."},
}

// mostLevels is how many levels of an effect are drawn.
const mostLevels = 48

// effectPlot shows the levels of an effect with their intervals.
func effectPlot(g explain.EffectGroup, u profiles.Units) *Plot {
	words, ok := effectWords[g.Name]
	if !ok {
		words = [2]string{g.Name, ""}
	}
	factor, unit := u.Of(g.Unit)
	sd := factor * g.SD
	p := newPlot("effects-"+strings.ReplaceAll(g.Name, " ", "-")+".svg", words[0]+" beside each other", words[1],
		fmt.Sprintf("Points: estimates drawn towards 0 as far as the data are few. Dashed: the model's standard deviation, %.3g %s.", sd, unit),
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
		points = append(points, plotter.XY{X: factor * l.Value, Y: float64(len(points))})
		bars = append(bars, struct{ Low, High float64 }{factor * l.Half, factor * l.Half})
		names = append(names, shortName(l.Name))
	}
	p.plot.Add(&plotter.XErrorBars{XYs: points, XErrors: bars, LineStyle: stroke(0.8, ink), CapWidth: 4})
	p.scatter(points, vgdraw.GlyphStyle{Color: ink, Radius: 2.6, Shape: vgdraw.CircleGlyph{}})
	y := &p.plot.Y
	p.plot.NominalY(names...)
	y.Tick.Label.Font = sans(textSize - 0.5)
	y.Min, y.Max = -0.6, float64(len(points))-0.4
	for _, x := range []float64{-sd, 0, sd} {
		style := stroke(0.8, faint, 4, 3)
		if x == 0 {
			style = stroke(0.8, ink)
		}
		p.line(style, plotter.XY{X: x, Y: y.Min}, plotter.XY{X: x, Y: y.Max})
	}
	p.plot.X.Label.Text = "effect, " + unit
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
