package main

import (
	"fmt"
	"io"

	csvfile "evenpole/capture/record/table"
	"evenpole/fit/curve"
	"evenpole/profiles"
)

// poles are those of a pickup as far as an order tells: diameter and spacing, mm.
type poles struct{ diameter, spacing float64 }

var usualPoles = poles{curve.UsualPole, profiles.UsualSpacing}

// otherPoles are compared with usual ones: one thing differs at a time.
var otherPoles = []poles{
	{3.2, profiles.UsualSpacing}, {4, profiles.UsualSpacing}, {5.6, profiles.UsualSpacing}, {6.4, profiles.UsualSpacing},
	{curve.UsualPole, 8.5}, {curve.UsualPole, 13}, {curve.UsualPole, 19},
}

// differing are the parameters that poles make a difference to.
var differing = []int{curve.Slope, curve.Bend, curve.Protrusion, curve.EndLoss}

// poleWorlds is in how many worlds poles are compared: in each they make the same difference.
const poleWorlds = 8

// parametersOf are those of a world whose poles are these. The coil keeps its distance
// from them.
func (p poles) parametersOf(seed uint64) []float64 {
	w := drawn(seed)
	more := p.diameter/2 - w.Rod.Radius
	w.Rod.Radius += more
	w.Coil.Inner += more
	w.Coil.Outer += more
	theta, _ := fitTo(levels(w, p.spacing))
	return theta
}

// shifts are the means and standard deviations over worlds of what the differing
// parameters have more than with usual poles.
func (p poles) shifts(usual [][]float64) (mean, sd []float64) {
	more := make([][]float64, len(differing))
	for seed, of := range usual {
		theta := p.parametersOf(uint64(seed + 1))
		for k, j := range differing {
			more[k] = append(more[k], theta[j]-of[j])
		}
	}
	for _, x := range more {
		m, s, _, _, _ := moments(x, x)
		mean, sd = append(mean, m), append(sd, s)
	}
	return mean, sd
}

// withUsualPoles are the parameters of all worlds in which poles are compared.
func withUsualPoles() (out [][]float64) {
	for seed := uint64(1); seed <= poleWorlds; seed++ {
		out = append(out, usualPoles.parametersOf(seed))
	}
	return out
}

// writePoles writes the table of otherPoles.
func writePoles(to io.Writer) error {
	lines := [][]string{{"diameter_mm", "spacing_mm", "parameter", "shift", "sd"}}
	usual := withUsualPoles()
	for _, p := range otherPoles {
		mean, sd := p.shifts(usual)
		for k, j := range differing {
			lines = append(lines, []string{fmt.Sprint(p.diameter), fmt.Sprint(p.spacing), equation.Names()[j], fmt.Sprintf("%.4f", mean[k]), fmt.Sprintf("%.4f", sd[k])})
		}
	}
	return csvfile.WriteLines(to, true, lines...)
}
