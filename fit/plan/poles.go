package plan

import (
	"math"
	"slices"
)

// A pole may be off by as much as lowers the chance to meet by no more than the
// share riskTaken of that chance.
const (
	riskTaken   = 0.1
	leastChance = 0.1 // a chance to meet below which no pole may be off
	mostOff     = 1.0 // mm; a pole that is farther off is wrong
	offSteps    = 6   // halvings of mostOff
	offDraws    = 512 // simulated pickups for each chance
)

// poles is the cut list: length, magnet and tolerance of each pole.
func (j *job) poles(heights []float64) ([]Pole, error) {
	samples, err := j.drawSamples(heights, offDraws)
	if err != nil {
		return nil, err
	}
	chance := j.chance(samples, heights)
	out := make([]Pole, len(heights))
	for i, h := range heights {
		if err := j.ctx.Err(); err != nil {
			return nil, err
		}
		if j.order.FormerDepth > 0 {
			out[i].Length = h + j.order.FormerDepth
		}
		if l := &j.order.Layout; l.PolesPerString == 2 || l.StringsPerPole == 2 {
			out[i].Numbers = j.order.Layout.PolesOf(i + 1)
		}
		if m := j.variants[0].setup.Magnets; m != nil {
			out[i].Magnet = m[i]
		}
		if chance >= leastChance {
			out[i].Lower = j.mayBeOff(samples, heights, i, -1, (1-riskTaken)*chance)
			out[i].Higher = j.mayBeOff(samples, heights, i, 1, (1-riskTaken)*chance)
		}
	}
	return out, nil
}

// mayBeOff finds by bisection how far, in mm, pole i may be off in one direction
// before the chance to meet is less than least; it never reaches the string.
func (j *job) mayBeOff(samples []sample, heights []float64, i int, sign, least float64) float64 {
	at := slices.Clone(heights)
	safe, off := 0.0, mostOff
	if sign > 0 {
		off = min(off, 0.9*(j.stringHeights()[i]-heights[i]))
	}
	for step := off; ; off = safe + step {
		for k := range at {
			if j.order.Layout.Leader(k) == j.order.Layout.Leader(i) {
				at[k] = heights[k] + sign*off
			}
		}
		if j.chance(samples, at) >= least {
			safe = off
		}
		if step /= 2; step < mostOff/(1<<offSteps) || safe == mostOff {
			return math.Round(safe*100) / 100
		}
	}
}

// chance is the least chance to meet among the string sets, for poles at these
// heights with the random part that the samples have.
func (j *job) chance(samples []sample, heights []float64) float64 {
	least := 1.0
	for set, c := range samples {
		v := j.variants[set]
		ln := v.lessTarget(v.model.Level(nil, v.setup, heights))
		least = min(least, c.shareWithin(v.deviations(ln), j.order.Tolerance))
	}
	return least
}
