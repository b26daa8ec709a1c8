package plan

import (
	"math"
	"slices"
)

// Pole is what the bench needs to know of one pole.
type Pole struct {
	Length float64 `json:"length_mm,omitempty"` // pole top to former's depth, when the order gives that
	Lower  float64 `json:"may_be_lower_mm"`     // how much too low it alone may stand; 0 where there is hardly a chance to lose
	Higher float64 `json:"may_be_higher_mm"`    // how much too high
	Magnet string  `json:"magnet,omitempty"`    // which one of the stock, or of the order
}

// What a pole may be off: the chance to meet then falls by no more than this
// share of itself.
const (
	riskTaken  = 0.1
	hardlyAny  = 0.1 // a chance to meet below which no pole has room to be off
	mostOff    = 1.0 // mm; beyond this a pole is not off but wrong
	offSteps   = 6   // halvings of it
	offSampled = 512 // simulated pickups behind each chance
)

// poles is the cut list: length, magnet and tolerance of each pole.
func (j *job) poles(heights []float64) ([]Pole, error) {
	clouds, err := j.cloudsOf(heights, offSampled)
	if err != nil {
		return nil, err
	}
	chance := j.chance(clouds, heights)
	out := make([]Pole, len(heights))
	for i, h := range heights {
		if j.order.FormerDepth > 0 {
			out[i].Length = h + j.order.FormerDepth
		}
		if m := j.beds[0].setup.Magnets; m != nil {
			out[i].Magnet = m[i]
		}
		if chance >= hardlyAny {
			out[i].Lower = j.mayBeOff(clouds, heights, i, -1, (1-riskTaken)*chance)
			out[i].Higher = j.mayBeOff(clouds, heights, i, 1, (1-riskTaken)*chance)
		}
	}
	return out, nil
}

// mayBeOff halves its way to how far, in mm, pole i may be off in one direction
// before the chance to meet is less than least; never beyond its string.
func (j *job) mayBeOff(clouds []cloud, heights []float64, i int, sign, least float64) float64 {
	at := slices.Clone(heights)
	safe, off := 0.0, mostOff
	if sign > 0 {
		off = min(off, 0.9*(j.stringHeights()[i]-heights[i]))
	}
	for step := off; ; off = safe + step {
		at[i] = heights[i] + sign*off
		if j.chance(clouds, at) >= least {
			safe = off
		}
		if step /= 2; step < mostOff/(1<<offSteps) || safe == mostOff {
			return math.Round(safe*100) / 100
		}
	}
}

// chance is the chance to meet under the strings that suit least, were the
// clouds those of these heights.
func (j *job) chance(clouds []cloud, heights []float64) float64 {
	least := 1.0
	for b, c := range clouds {
		bed := j.beds[b]
		v := bed.lessTarget(bed.model.Level(nil, bed.setup, heights))
		least = min(least, c.meets(bed.deviations(v), j.order.Tolerance))
	}
	return least
}
