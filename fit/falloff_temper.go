package fit

import (
	"math"
	"slices"

	"evenpole/fit/curve"
	"evenpole/fit/solve"
)

// enoughCells is how many cells of a record tell all that can be told of what pickups
// share. The equation leaves 0.1 to 0.2 dB of every shop, in the same way in all of its
// pickups, so that more cells of the same strings at the same gaps do not make up for it.
// Counted in full, a long record would bend the curve after hundredths of a dB, and strings'
// and slots' effects would make up for what that does to levels: string sets that were left
// out of bench/scale's logs of a million and ten million rows were off by 2.8 and 3.5 dB,
// and by 1.1 dB as it is, as those of ten thousand rows are. Any number from 1500 to 5000
// gives the same within 0.05 dB.
const enoughCells = 4000

// tempering is by how much too many cells there are, 1 where there are not: the data count
// the less by it in what pickups share, as in a power posterior (J. W. Miller, D. B. Dunson,
// Robust Bayesian inference via coarsening, J. Am. Stat. Assoc. 114, 2019, from memory).
// What is a pickup's own takes part in full. In the mixed model, what is known beforehand of
// the curve, of strings and of slots counts more in place of that, which leads to the same
// estimates: standard deviations of strings and slots are smaller there by the root of it,
// and variances of what is shared have to be multiplied by it.
type tempering float64

func temperingOf(cells int) tempering { return tempering(max(1, float64(cells)/enoughCells)) }

// tempered are the effects that count as the curve does. A batch or a jig is not told
// wrongly by the curve's shape.
var tempered = []int{curve.StringEffect, curve.SlotEffect}

// apply makes what is known beforehand count more. The level is no matter of shape.
func (t tempering) apply(m *solve.Mixed) {
	if t == 1 {
		return
	}
	times := float64(t)
	for j := range m.Prior {
		if j != curve.Level {
			m.Prior[j].SD /= math.Sqrt(times)
		}
	}
	for _, k := range tempered {
		// Each level of the effect and its prior stand so many times in the criterion, in
		// which the mixed model has each level once.
		known, levels := &m.Terms[k].Spread, float64(1+slices.Max(m.Terms[k].Level))
		df := times*known.DF + (times-1)*levels
		*known = solve.Spread{SD: known.SD * math.Sqrt(known.DF/df), DF: df}
	}
}

// within are standard deviations as the mixed model has them, of the model's.
func (t tempering) within(sds []float64) []float64 { return t.scaled(sds, 1/math.Sqrt(float64(t))) }

// without undoes within.
func (t tempering) without(sds []float64) []float64 { return t.scaled(sds, math.Sqrt(float64(t))) }

func (t tempering) scaled(sds []float64, by float64) []float64 {
	out := slices.Clone(sds)
	for _, k := range tempered {
		out[1+k] *= by
	}
	return out
}
