package plan

import (
	"cmp"
	"math"
	"slices"

	"evenpole/fit"
	"evenpole/fit/level"

	"gonum.org/v1/gonum/stat"
)

// Forecast is what to expect of a pickup built with these pole heights, under the
// strings of the order. Lists are by string, string 1 first.
//
// Chances are over the model's uncertainty, over magnets and strings as the model
// says that they vary, and over the setting error of each pole, which is independent
// of the others' and changes the level by its slope at these heights.
type Forecast struct {
	Heights   []float64      `json:"heights_mm"`
	Gaps      []float64      `json:"gap_mm"`
	Level     []level.Figure `json:"level_mv"`       // RMS, mean prediction; not known to a model of relative levels alone
	Balance   []float64      `json:"balance_db"`     // against the mean of all strings in dB
	Deviation []float64      `json:"deviation_db"`   // balance less wanted balance
	Slope     []float64      `json:"db_per_01mm"`    // dB that a string gains when its own pole rises by 0.1 mm
	Worst     float64        `json:"worst_db"`       // expected worst deviation, whichever string's it is
	Spread    float64        `json:"spread_db"`      // expected spread of the deviations
	Spread95  [2]float64     `json:"spread_db_95"`   // 2.5 % and 97.5 % points of that spread
	Meets     float64        `json:"meets"`          // chance that every string is within tolerance
	Sets      []Set          `json:"sets,omitempty"` // the same poles under the order's alternatives
}

// Set is the forecast of a stagger under another string set.
type Set struct {
	Name string `json:"name"`
	Forecast
}

// bySet lists the forecast under the order's own strings, whose name is "", and
// then those under its alternatives.
func (g *Forecast) bySet() []Set { return append([]Set{{"", *g}}, g.Sets...) }

// leastSure is the string set with the least chance to meet.
func (g *Forecast) leastSure() Set {
	return slices.MinFunc(g.bySet(), func(a, b Set) int { return cmp.Compare(a.Meets, b.Meets) })
}

// worstSet is the string set with the largest expected worst deviation.
func (g *Forecast) worstSet() Set {
	return slices.MaxFunc(g.bySet(), func(a, b Set) int { return cmp.Compare(a.Worst, b.Worst) })
}

// MaxWorst is the largest expected worst deviation, dB, among the string sets: the
// figure that a plan minimises.
func (g *Forecast) MaxWorst() float64 { return g.worstSet().Worst }

// forecast predicts a stagger under the order's own strings and its alternatives.
func (j *job) forecast(heights []float64) (Forecast, error) {
	own, err := j.forecastUnder(j.variants[0], heights)
	if err != nil {
		return own, err
	}
	for _, v := range j.variants[1:] {
		if err := j.ctx.Err(); err != nil {
			return own, err
		}
		g, err := j.forecastUnder(v, heights)
		if err != nil {
			return own, err
		}
		own.Sets = append(own.Sets, Set{v.set, g})
	}
	return own, nil
}

// levelOf is a level in mV of one in ln v; not known where the model's are in no known
// unit.
func (j *job) levelOf(ln float64) level.Figure {
	if m, ok := j.model.(fit.Model); ok && m.Measured().NoLevels {
		return level.Figure(math.NaN())
	}
	return level.Figure(math.Exp(ln))
}

// forecastUnder predicts a stagger under one string set.
func (j *job) forecastUnder(v *variant, heights []float64) (Forecast, error) {
	ln, err := v.levels(heights)
	if err != nil {
		return Forecast{}, err
	}
	out := Forecast{Heights: slices.Clone(heights), Balance: balance(ln)}
	slopes := v.slopes(heights)
	for i := range ln {
		out.Gaps = append(out.Gaps, v.setup.StringHeights[i]-heights[i])
		out.Level = append(out.Level, j.levelOf(ln[i]))
		out.Deviation = append(out.Deviation, out.Balance[i]-v.target[i])
		out.Slope = append(out.Slope, 0.1*level.PerLn*slopes.At(i, i))
	}
	root, err := v.root(heights, slopes, j.opt.SettingSD)
	if err != nil {
		return Forecast{}, err
	}
	built := newSample(root, j.points, j.opt.Draws)
	spreads, worst := built.simulate(out.Deviation)
	out.Worst, out.Spread = stat.Mean(worst, nil), stat.Mean(spreads, nil)
	out.Meets = share(worst, j.order.Tolerance)
	slices.Sort(spreads)
	for i, p := range []float64{0.025, 0.975} {
		out.Spread95[i] = stat.Quantile(p, stat.LinInterp, spreads, nil)
	}
	return out, nil
}

// share is the share of a list that is at most the limit.
func share(list []float64, limit float64) float64 {
	n := 0
	for _, x := range list {
		if x <= limit {
			n++
		}
	}
	return float64(n) / float64(len(list))
}

// balance converts ln v to dB beside the mean of all strings.
func balance(v []float64) []float64 {
	m, b := stat.Mean(v, nil), make([]float64, len(v))
	for i := range v {
		b[i] = level.PerLn * (v[i] - m)
	}
	return b
}
