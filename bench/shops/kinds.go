package main

import (
	"context"
	"math"
	"slices"
	"strconv"

	"evenpole/capture/record"
	"evenpole/fit"
	"evenpole/fit/plan"
	"evenpole/jig/sim"
	"evenpole/profiles"
)

// The kinds of pickups that shops build.
const (
	onePole  = "one"
	twoCoils = "two-coils"
	blades   = "blade"
)

// apart is how far the second coil is nearer to the bridge than the first, mm.
const apart = 18.5

// slugs are the heights of the first coil's poles, which stand as they are, mm.
const slugs = 0.2

// bothCoils is ln v of strings over a row of slugs and a second of screws, whose levels
// over either alone are given: each harmonic of a plucked string adds up in both, and
// their powers are summed.
func bothCoils(over, second []float64, scale, place float64) []float64 {
	out := make([]float64, len(over))
	for i := range out {
		a, b := math.Exp(over[i]), math.Exp(second[i])
		var power, alone float64
		for n := 1.0; n <= 25; n++ {
			v := math.Sin(n*math.Pi*0.17) / n * math.Exp(-0.03*n) // high harmonics die away
			x, y := v*math.Sin(n*math.Pi*place/scale), v*math.Sin(n*math.Pi*(place-apart)/scale)
			power += (a*x + b*y) * (a*x + b*y)
			alone += x * x
		}
		out[i] = 0.5 * math.Log(power/alone)
	}
	return out
}

// A blade is thin rods side by side, and strings lie over every fourth.
const (
	bladeEvery = 4
	bladeOver  = 3 // rods beyond the outer strings
)

// bladed is ln v of strings over a level blade by the simulated jig's physics.
func (w *world) bladed(height float64, strings []profiles.String, heights []float64, spacing float64, levels func(poles []sim.Pole, strings []profiles.String, heights []float64, spacing float64) []float64) []float64 {
	n := (len(strings)-1)*bladeEvery + 1 + 2*bladeOver
	rod := poleOf(w.batches[0], height, w.batches[0].Remanence)
	rod.Radius = 1.5
	poles := slices.Repeat([]sim.Pole{rod}, n)
	under := slices.Repeat([]profiles.String{strings[0]}, n-bladeOver) // those between are not read
	above := slices.Repeat([]float64{heights[0]}, n-bladeOver)
	for i, s := range strings {
		under[bladeOver+bladeEvery*i], above[bladeOver+bladeEvery*i] = s, heights[i]
	}
	all := levels(poles, under, above, spacing/bladeEvery)
	out := make([]float64, len(strings))
	for i := range out {
		out[i] = all[bladeOver+bladeEvery*i]
	}
	return out
}

// file fills in what a row says of a pickup that is not one pole a string.
func (w *world) file(r *record.Reading) {
	switch *kindOf {
	case twoCoils:
		gain, _ := profiles.StringMotion(648, w.place, w.place-apart)
		r.PoleHeight, r.PoleHeight2, r.Gain2 = slugs, r.PoleHeight, strconv.FormatFloat(gain, 'f', 4, 64)
	case blades:
		r.Under = profiles.UnderBlade
	}
}

// as makes an order one for the kind of pickup.
func as(o *profiles.Order) {
	switch *kindOf {
	case twoCoils:
		o.PickupFromBridge = max(o.PickupFromBridge, 50)
		o.Layout.Coil = &profiles.Coil{FromBridge: o.PickupFromBridge - apart, Poles: profiles.Screw, Polarity: profiles.Opposite, Winding: profiles.Opposite,
			Min: o.PoleHeightMin, Max: o.PoleHeightMax, Step: o.PoleHeightStep}
		o.Poles, o.FixedHeights = profiles.Slug, slices.Repeat([]float64{slugs}, len(o.Strings))
	case blades:
		o.Poles, o.FixedHeights = profiles.Blade, slices.Repeat([]float64{0.5}, len(o.Strings))
		o.PoleHeightMin, o.PoleHeightMax = 0.5, 0.5
		o.PickupRaise, o.PickupLower = 1.5, 1.5
	}
}

// hung is what became of an order for a blade: what is built is where it hangs.
func (j *job) hung(o outcome, seed uint64, n int, m fit.Predictor) outcome {
	at := j.bladeTable(j.order.Strings)
	_, strings := j.build(j.order.FixedHeights, seed*1000+uint64(n))
	real := j.bladeTable(strings)
	r := j.world.rng
	off := [2]float64{0.05 * r.NormFloat64(), 0.05 * r.NormFloat64()}
	built := func(first, last float64) float64 { return spreadOf(j.moved(real, first+off[0], last+off[1])) }
	worst := func(v []float64) float64 { b := balance(v); return max(slices.Max(b), -slices.Min(b)) }
	least, best := math.Inf(1), [2]float64{}
	leastWorst := math.Inf(1)
	for a := -15; a <= 15; a++ {
		for b := -15; b <= 15; b++ {
			first, last := float64(a)/10, float64(b)/10
			if j.tooNear(first, last) {
				continue
			}
			if s := spreadOf(j.moved(at, first, last)); s < least {
				least, best = s, [2]float64{first, last}
			}
			leastWorst = min(leastWorst, worst(j.moved(real, first+off[0], last+off[1])))
		}
	}
	p, err := plan.Make(context.Background(), j.order, m, plan.Options{})
	check(err)
	v := j.moved(real, p.Move.RaiseFirst+off[0], p.Move.RaiseLast+off[1])
	o.built, o.best, o.flat, o.radius = spreadOf(v), built(best[0], best[1]), built(0, 0), math.NaN()
	o.ownRegret = worst(v) - leastWorst
	o.said, o.expected, o.meets, o.met = p.Spread95, p.Spread, p.Meets, j.meets(v)
	o.height, o.gap = math.NaN(), math.NaN()
	for i, b := range balance(v) {
		o.off = append(o.off, b-p.Balance[i])
	}
	o.sd = balanceSD(m.Uncertainty(setupOf(j), p.Heights), p.Slope)
	o.advice = p.Advice
	return o
}

// The gaps at which a blade's levels are tabulated.
const bladeSteps = 6

// bladeTable is ln v by gap and string, from 0.9 to 7.4 mm.
func (j *job) bladeTable(strings []profiles.String) [][]float64 {
	var out [][]float64
	for k := range bladeSteps {
		gap := 0.9 + 6.5*float64(k)/(bladeSteps-1)
		heights := slices.Repeat([]float64{0.5 + gap}, len(strings))
		poles := j.nominal(j.order.FixedHeights)
		o := j.order
		out = append(out, j.world.levels(poles, strings, heights, j.spacing(), o.ScaleLength, o.PickupFromBridge, j.excite))
	}
	return out
}

// moved is ln v with the pickup's ends raised.
func (j *job) moved(table [][]float64, first, last float64) []float64 {
	var xs []float64
	for k := range table {
		xs = append(xs, 0.9+6.5*float64(k)/(bladeSteps-1))
	}
	out := make([]float64, len(j.heights))
	for i, h := range j.heights {
		gap := h - 0.5 - first - (last-first)*float64(i)/float64(len(j.heights)-1)
		ys := make([]float64, len(table))
		for k := range table {
			ys[k] = table[k][i]
		}
		out[i] = lagrange(xs, ys, gap)
	}
	return out
}

// tooNear reports whether a string comes too near when the ends are raised so.
func (j *job) tooNear(first, last float64) bool {
	for i, h := range j.heights {
		if h-0.5-first-(last-first)*float64(i)/float64(len(j.heights)-1) < j.order.MinGap-1e-6 {
			return true
		}
	}
	return false
}
