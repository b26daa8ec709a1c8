package explain

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/level"

	"gonum.org/v1/gonum/mat"
)

// Diagnosis is what pictures of a model show. Intervals are the half-widths of
// 95 %; levels are in dB.
type Diagnosis struct {
	Kind    string
	Cells   []Diagnosed
	Fall    []FallClass   // by steel area, thinnest first; nil for a model without a curve
	Effects []EffectGroup // nil for a model without random effects
	Notes   []string      // pickups that could not be predicted from the others
}

// Diagnosed is a cell with what the model says of it.
type Diagnosed struct {
	Pickup, Session string
	String          int
	First           time.Time // zero when not known
	Measured        float64   // balance: the mean of the pickup's cells is 0
	Predicted       float64   // the same, predicted from the other pickups; NaN when it cannot be
	Half            float64   // of Measured - Predicted
	Residual        float64   // what the curve and all effects leave; of a log-linear model, all but the pickup's mean
}

// FallClass is how the level of strings with about as much steel falls with the
// gap from the pole's top to the string's axis.
type FallClass struct {
	From, To float64 // mm, diameters of plain strings with as much steel
	Curve    []FallPoint
	Points   []FallPoint // a cell each: the fall of its own string, plus its residual
}

// FallPoint is a level beside that at the reference gap.
type FallPoint struct {
	Pickup string
	Gap    float64 // mm
	Level  float64 // dB, other causes than the gap taken off
	Half   float64 // dB, of a curve; 0 of a point
}

// EffectGroup is a random effect with all its levels.
type EffectGroup struct {
	Name   string
	Unit   string  // "dB" or "mm"
	SD     float64 // between levels, by the model
	Levels []EffectLevel
}

// EffectLevel is one pickup, batch, pole, string, channel or setup.
type EffectLevel struct {
	Name        string
	Value, Half float64
}

const normal95 = 1.959964 // standard normal, 95 % two-sided

// ReferenceGap is the gap, mm, at which FallPoints are 0 dB.
const ReferenceGap = curve.RefGap

// Diagnose works out what pictures of a model show on the data it was fitted
// to. Each pickup is predicted by a model fitted to the others, as
// CrossValidate does.
func Diagnose(m fit.Model, d *cell.Data) (*Diagnosis, error) {
	if f, err := fit.AsFalloff(m); err == nil {
		return diagnose(f, m.Kind(), d)
	}
	out := &Diagnosis{Kind: m.Kind()}
	for _, p := range d.Pickups() {
		_, own := d.Split(p)
		expected := m.Expect(own)
		own, expected = told(own, expected)
		out.addPickup(own, expected)
	}
	half := func(model fit.Model, own []cell.Cell) []float64 {
		return slices.Repeat([]float64{normal95 * float64(model.ResidualSD().Ln())}, len(own))
	}
	return out, out.leaveOut(m, d, half)
}

// told keeps the cells of which a model says something.
func told(cells []cell.Cell, expected []float64) ([]cell.Cell, []float64) {
	var own []cell.Cell
	var y []float64
	for i, v := range expected {
		if !math.IsNaN(v) {
			own, y = append(own, cells[i]), append(y, v)
		}
	}
	return own, y
}

// addPickup adds the cells of a pickup, with what a model leaves of each once
// the pickup's mean is taken off.
func (d *Diagnosis) addPickup(own []cell.Cell, expected []float64) {
	measured, said := centred(levels(own)), centred(expected)
	for i, c := range own {
		d.Cells = append(d.Cells, Diagnosed{
			Pickup: c.Pickup, Session: c.Session, String: c.String, First: c.First,
			Measured: level.PerLn * measured[i], Predicted: math.NaN(), Residual: level.PerLn * (measured[i] - said[i]),
		})
	}
}

func levels(cells []cell.Cell) []float64 {
	y := make([]float64, len(cells))
	for i := range cells {
		y[i] = cells[i].Mean
	}
	return y
}

// leaveOut predicts every pickup from the others. half tells the half-widths,
// ln v, of a pickup's balance.
func (d *Diagnosis) leaveOut(m fit.Model, data *cell.Data, half func(fit.Model, []cell.Cell) []float64) error {
	again, err := fit.RefitOf(m)
	if err != nil {
		return err
	}
	if len(data.Pickups()) < 2 {
		d.Notes = append(d.Notes, "one pickup alone cannot be predicted from others: capture a second one")
		return nil
	}
	at := 0
	for _, p := range data.Pickups() {
		others, own := data.Split(p)
		all := d.Cells[at:]
		n := 0
		for n < len(all) && all[n].Pickup == p {
			n++
		}
		at += n
		model, err := again(others)
		if err != nil {
			d.Notes = append(d.Notes, fmt.Sprintf("pickup %q cannot be predicted from the others: %v", p, err))
			continue
		}
		own, expected := told(own, model.Expect(own))
		if len(own) != n {
			d.Notes = append(d.Notes, fmt.Sprintf("pickup %q cannot be predicted from the others: they were plucked another way", p))
			continue
		}
		said, widths := centred(expected), half(model, own)
		for i := range own {
			all[i].Predicted, all[i].Half = level.PerLn*said[i], level.PerLn*widths[i]
		}
	}
	return nil
}

func diagnose(f *fit.Falloff, kind string, d *cell.Data) (*Diagnosis, error) {
	m, err := f.EffectsOf(d.Cells, nil)
	if err != nil {
		return nil, err
	}
	out := &Diagnosis{Kind: kind}
	residuals := m.Residuals()
	for first := 0; first < len(m.Cells); {
		last := first
		for last < len(m.Cells) && m.Cells[last].Pickup == m.Cells[first].Pickup {
			last++
		}
		out.addPickup(m.Cells[first:last], levels(m.Cells[first:last]))
		first = last
	}
	for i := range out.Cells {
		out.Cells[i].Residual = level.PerLn * residuals[i]
	}
	out.Fall = falls(m, residuals)
	p, err := m.Posterior()
	if err != nil {
		return nil, err
	}
	if out.Effects, err = effects(p); err != nil {
		return nil, err
	}
	return out, out.leaveOut(f, d, func(model fit.Model, own []cell.Cell) []float64 {
		return unseenHalf(model.(*fit.Falloff), d.Cells, own)
	})
}

// unseenHalf is the half-width of 95 % of each balance, ln v, of a pickup that
// the model has not seen, once it is measured: the curve's own uncertainty, what
// is not known of the pickup's poles, strings and mountings, and the noise of
// its takes. It is NaN where it cannot be told.
func unseenHalf(f *fit.Falloff, cells, own []cell.Cell) []float64 {
	pickup := own[0].Pickup
	out := slices.Repeat([]float64{math.NaN()}, len(own))
	m, err := f.EffectsOf(cells, func(c *cell.Cell) bool { return c.Pickup == pickup })
	if err != nil {
		return out
	}
	p, err := m.Posterior()
	if err != nil {
		return out
	}
	var at []int
	for i, c := range m.Cells {
		if c.Pickup == pickup {
			at = append(at, i)
		}
	}
	for i, v := range centredVariance(p.Unseen(at)) {
		out[i] = normal95 * math.Sqrt(v)
	}
	return out
}

// centredVariance is the variance of each of some figures less their mean.
func centredVariance(cov *mat.SymDense) []float64 {
	n := cov.SymmetricDim()
	all := mat.Sum(cov) / float64(n*n)
	out := make([]float64, n)
	for i := range out {
		row := 0.0
		for j := range n {
			row += cov.At(i, j) / float64(n)
		}
		out[i] = max(0, cov.At(i, i)-2*row+all)
	}
	return out
}

// effects lists every effect's levels with their intervals.
func effects(p *fit.Posterior) ([]EffectGroup, error) {
	var out []EffectGroup
	for k, e := range curve.Effects {
		if p.Levels(k) == 0 {
			continue
		}
		sds, err := p.SDs(k)
		if err != nil {
			return nil, fmt.Errorf("effect %q: %w", e.Name, err)
		}
		g := EffectGroup{Name: e.Name, Unit: "dB", Levels: make([]EffectLevel, len(sds))}
		scale := level.PerLn
		if k == curve.SetupEffect {
			g.Unit, scale = "mm", 1
		}
		g.SD = scale * math.Abs(p.Model.SDs[k+1])
		for i := range p.Cells {
			l := p.LevelOf(k, i)
			if l < 0 {
				continue
			}
			g.Levels[l] = EffectLevel{levelName(k, &p.Cells[i]), scale * p.Value(k, i), scale * normal95 * sds[l]}
		}
		out = append(out, g)
	}
	return out, nil
}

// levelName is what people call a level of an effect.
func levelName(k int, c *cell.Cell) string {
	switch k {
	case curve.StringEffect:
		return strings.TrimPrefix(fmt.Sprintf("%s, string %d", c.Set, c.String), ", ")
	case curve.ChannelEffect:
		return fmt.Sprintf("slot %d", c.String)
	}
	return cmp.Or(curve.Effects[k].Level(c), "not named")
}

// fallClasses is how many classes of steel area the curve is drawn for, at most.
const fallClasses = 3

// falls draws the curve for classes of strings with about as much steel, and
// what each cell says of it.
func falls(m *fit.CellEffects, residuals []float64) []FallClass {
	f := m.Model
	area := make([]float64, len(m.Sites))
	for i, s := range m.Sites {
		area[i] = f.LogArea(f.Theta, s)
	}
	var out []FallClass
	for _, members := range classes(area) {
		c := FallClass{From: curve.PlainDiameter(area[members[0]]), To: curve.PlainDiameter(area[members[len(members)-1]])}
		var mean float64
		least, most := math.Inf(1), math.Inf(-1)
		for _, i := range members {
			gap := m.Sites[i].Gap() + m.Lift[i]
			least, most = min(least, gap), max(most, gap)
			mean += area[i] / float64(len(members))
			fall, _ := f.FallAt(area[i], gap)
			c.Points = append(c.Points, FallPoint{m.Cells[i].Pickup, gap, level.PerLn * (fall + residuals[i]), 0})
		}
		const steps = 48
		for k := range steps + 1 {
			gap := least + (most-least)*float64(k)/steps
			fall, se := f.FallAt(mean, gap)
			c.Curve = append(c.Curve, FallPoint{"", gap, level.PerLn * fall, level.PerLn * normal95 * se})
		}
		out = append(out, c)
	}
	return out
}

// classes sorts items into some classes of about as many each; equal values
// stay together. Each class lists its items from the least value up.
func classes(values []float64) [][]int {
	order := make([]int, len(values))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(values[i], values[j]) })
	var out [][]int
	for len(order) > 0 {
		n := max(1, len(order)/max(1, fallClasses-len(out)))
		for n < len(order) && values[order[n]] == values[order[n-1]] {
			n++
		}
		out = append(out, order[:n])
		order = order[n:]
	}
	return out
}
