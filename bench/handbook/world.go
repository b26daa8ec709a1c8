package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"evenpole/bench/magnetics"
	"evenpole/fit/curve"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// wraps are those that worlds have strings of.
var wraps = []profiles.Wrap{profiles.Bronze, profiles.Nickel, profiles.NickelPlatedSteel, profiles.Stainless}

// equation is what is fitted: levels of a string's flux, so that it moves alike everywhere.
var equation = &curve.Curve{Wraps: wraps, Excite: profiles.Drive, Pitch: true}

func names() []string { return equation.Names() }

// strings are those whose levels are computed, diameters in mm.
var strings = []profiles.String{
	{Gauge: 0.229, Core: 0.229, Wrap: profiles.Plain}, {Gauge: 0.279, Core: 0.279, Wrap: profiles.Plain},
	{Gauge: 0.33, Core: 0.33, Wrap: profiles.Plain}, {Gauge: 0.432, Core: 0.432, Wrap: profiles.Plain}, {Gauge: 0.56, Core: 0.56, Wrap: profiles.Plain},
	{Gauge: 0.508, Core: 0.28, Wrap: profiles.NickelPlatedSteel}, {Gauge: 0.66, Core: 0.35, Wrap: profiles.NickelPlatedSteel},
	{Gauge: 0.914, Core: 0.38, Wrap: profiles.NickelPlatedSteel}, {Gauge: 1.17, Core: 0.43, Wrap: profiles.NickelPlatedSteel},
	{Gauge: 0.66, Core: 0.35, Wrap: profiles.Nickel}, {Gauge: 1.17, Core: 0.43, Wrap: profiles.Nickel},
	{Gauge: 0.66, Core: 0.33, Wrap: profiles.Stainless}, {Gauge: 1.17, Core: 0.42, Wrap: profiles.Stainless},
	{Gauge: 1.17, Core: 0.45, Wrap: profiles.Bronze},
}

// solvedLevel is ln of a string's change of flux, but for a constant.
type solvedLevel struct {
	site curve.Site
	ln   float64
}

// row is one world: its parameters, in the scale in which they are fitted, and what the
// equation leaves of its levels.
type row struct {
	seed       uint64
	rmsDB      float64
	parameters []float64
}

// compute solves a world's levels and fits the equation to them.
func compute(seed uint64) row {
	theta, rms := fitTo(levels(drawn(seed), profiles.UsualSpacing))
	return row{seed, level.PerLn * rms, theta}
}

// drawn is the world of a number.
func drawn(seed uint64) *magnetics.World {
	return magnetics.Draw(rand.New(rand.NewPCG(seed, 0x68616e64)))
}

// levels are those of strings over the third pole of six, with all poles at three
// heights, and at one of them over the first pole, and over stronger magnets. Spacing is
// between poles, mm.
func levels(w *magnetics.World, spacing float64) (out []solvedLevel) {
	bobbin := magnetics.NewBobbin(w.Rod, w.Coil, spacing)
	gaps := []float64{1.2, 2, 3, 4.2, 5.5}
	const middle, stronger = 1.2, 1.1
	at := func(height, strength float64, pole int, gaps []float64, each int) {
		p := bobbin.Pickup(slices.Repeat([]magnetics.Pole{{Top: height, Strength: strength}}, 6))
		for k, s := range strings {
			if k%each > 0 {
				continue
			}
			for _, g := range gaps {
				site := curve.Site{Core: s.Core, Gauge: s.Gauge, Wrap: s.Wrap, Height: height, StringHeight: height + g,
					Missing: curve.MissingNeighbours(pole+1, 6), Spacing: spacing, Field: math.Log(strength)}
				out = append(out, solvedLevel{site, p.Level(w.String(s.Gauge, s.Core, string(s.Wrap)), pole, height+g+s.Gauge/2)})
			}
		}
	}
	for _, height := range []float64{0, middle, 2 * middle} {
		at(height, 1, 2, gaps, 1)
	}
	at(middle, 1, 0, gaps, 2)
	at(middle, stronger, 2, gaps[1:4], 3)
	return out
}

// fitTo fits the equation. Parameters that levels do not tell stay where the handbook has
// them; what wraps share is told as part of each one's own weight.
func fitTo(all []solvedLevel) (theta []float64, rms float64) {
	const sd, wide = 0.03, 5 // ln v; times the handbook's deviations
	priors := equation.Priors()
	for j := range priors {
		priors[j].SD *= wide
	}
	priors[curve.WrapCommon].SD = 1e-3
	n := len(all)
	p := &solve.Nonlinear{M: n + len(priors), N: len(priors),
		Residual: func(dst, th []float64) {
			for i := range all {
				dst[i] = (equation.Predict(th, &all[i].site, 0) - all[i].ln) / sd
			}
			for j, prior := range priors {
				dst[n+j] = (th[j] - prior.Mean) / prior.SD
			}
		},
		Jacobian: func(dst *mat.Dense, th []float64) {
			dst.Zero()
			for i := range all {
				g := dst.RawRowView(i)
				equation.Gradient(g, th, &all[i].site, 0)
				for j := range g {
					g[j] /= sd
				}
			}
			for j, prior := range priors {
				dst.Set(n+j, j, 1/prior.SD)
			}
		}}
	var start []float64
	for _, prior := range priors {
		start = append(start, prior.Mean)
	}
	found, err := p.Solve(start)
	if err != nil {
		panic(fmt.Sprint("handbook: ", err))
	}
	for i := range all {
		rms += solve.Square(equation.Predict(found.X, &all[i].site, 0)-all[i].ln) / float64(n)
	}
	return found.X, math.Sqrt(rms)
}
