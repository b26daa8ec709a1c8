package plan

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// Judgement is what to expect of a pickup built with these pole heights, under
// the strings of the order. Lists are by string, string 1 first.
//
// Chances run over the model's uncertainty, magnets and strings as the model
// takes them to vary, and the setting error of each pole, independent of the
// others and passed on by the slope of the level at these heights.
type Judgement struct {
	Heights   []float64  `json:"heights_mm"`
	Gaps      []float64  `json:"gap_mm"`
	Level     []float64  `json:"level_mv"`       // RMS, mean prediction
	Balance   []float64  `json:"balance_db"`     // against the mean of all strings in dB
	Deviation []float64  `json:"deviation_db"`   // balance less wanted offset
	Slope     []float64  `json:"db_per_01mm"`    // dB that a string gains when its own pole rises by 0.1 mm
	Worst     float64    `json:"worst_db"`       // expected worst deviation, whichever string's it is
	Spread    float64    `json:"spread_db"`      // expected spread of the deviations
	Spread95  [2]float64 `json:"spread_db_95"`   // 2.5 % and 97.5 % points of that spread
	Meets     float64    `json:"meets"`          // chance that every string is within tolerance
	Sets      []Set      `json:"sets,omitempty"` // the same poles under the order's alternatives
}

// Set is the judgement of a stagger under another string set.
type Set struct {
	Name string `json:"name"`
	Judgement
}

// each lists the judgement under the order's own strings, which has no name
// here, and those under its alternatives.
func (g *Judgement) each() []Set { return append([]Set{{"", *g}}, g.Sets...) }

// leastMeets is the chance to meet under the string set that suits least.
func (g *Judgement) leastMeets() float64 {
	least := 1.0
	for _, s := range g.each() {
		least = min(least, s.Meets)
	}
	return least
}

// MostWorst is the expected worst deviation, dB, under the string set that
// suits least: what a plan makes as small as can be.
func (g *Judgement) MostWorst() float64 {
	most := 0.0
	for _, s := range g.each() {
		most = max(most, s.Worst)
	}
	return most
}

// judge works out the judgement of a stagger.
func (j *job) judge(heights []float64) (Judgement, error) {
	own, err := j.judgeUnder(j.beds[0], heights)
	if err != nil {
		return own, err
	}
	for _, b := range j.beds[1:] {
		g, err := j.judgeUnder(b, heights)
		if err != nil {
			return own, err
		}
		own.Sets = append(own.Sets, Set{b.name, g})
	}
	return own, nil
}

func (j *job) judgeUnder(b *bed, heights []float64) (Judgement, error) {
	v, err := b.levels(heights)
	if err != nil {
		return Judgement{}, err
	}
	out := Judgement{Heights: slices.Clone(heights), Balance: balance(v)}
	slopes := b.slopes(heights)
	for i := range v {
		out.Gaps = append(out.Gaps, b.setup.StringHeights[i]-heights[i])
		out.Level = append(out.Level, math.Exp(v[i]))
		out.Deviation = append(out.Deviation, out.Balance[i]-b.offset[i])
		out.Slope = append(out.Slope, 0.1*decibel*slopes.At(i, i))
	}
	root, err := b.root(heights, slopes, j.opt.SettingSD)
	if err != nil {
		return Judgement{}, err
	}
	built := newCloud(root, j.points, j.opt.Draws)
	spreads, worst := built.simulate(out.Deviation)
	out.Worst, out.Spread = stat.Mean(worst, nil), stat.Mean(spreads, nil)
	out.Meets = share(worst, j.order.Tolerance)
	slices.Sort(spreads)
	for i, p := range []float64{0.025, 0.975} {
		out.Spread95[i] = stat.Quantile(p, stat.LinInterp, spreads, nil)
	}
	return out, nil
}

// share is the share of a list that is no more than most.
func share(list []float64, most float64) float64 {
	n := 0
	for _, x := range list {
		if x <= most {
			n++
		}
	}
	return float64(n) / float64(len(list))
}

// balance turns ln v into dB against the mean of all strings.
func balance(v []float64) []float64 {
	m, b := stat.Mean(v, nil), make([]float64, len(v))
	for i := range v {
		b[i] = decibel * (v[i] - m)
	}
	return b
}
