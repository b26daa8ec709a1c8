package fit

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// Expect predicts cells of a pickup with the offsets of their strings and slots.
func (f *Falloff) Expect(cells []cell.Cell) []float64 {
	out := make([]float64, len(cells))
	last := cell.LastStrings(cells)
	for i := range cells {
		c := &cells[i]
		if c.Excite != f.Excite {
			out[i] = math.NaN()
			continue
		}
		out[i] = f.Predict(f.Theta, f.CellSite(c, last[c.Pickup]), 0)
		for _, k := range []int{curve.StringEffect, curve.SlotEffect} {
			out[i] += f.Offsets[curve.Effects[k].Key(c)]
		}
	}
	return out
}

// Site is the curve's inputs for one string of a setup over its pole.
func (f *Falloff) Site(s *Setup, i int, heights []float64) *curve.Site {
	str := s.Strings[i]
	out := &curve.Site{Core: str.Core, Gauge: str.Gauge, Wrap: str.Wrap, Height: heights[i], StringHeight: s.StringHeights[i],
		Missing: curve.MissingNeighbours(i+1, len(s.Strings)), Spacing: s.Spacing}
	if hz, err := profiles.Pitch(str.Note); err == nil && f.Pitch {
		out.Velocity = curve.RelativeVelocity(s.PlayedBy(f.Excite), hz, str)
	}
	out.Field, _ = f.magnet(s, i)
	return out
}

// magnet is ln B of the magnet under a string against its batch, and whether
// it was measured.
func (f *Falloff) magnet(s *Setup, i int) (float64, bool) {
	if i >= len(s.Magnets) {
		return 0, false
	}
	dev, ok := f.Magnets[s.Magnets[i]]
	return dev, ok
}

// Level predicts for a pickup and strings like the mean of those measured, with
// magnets of its batch, or like the mean batch's when the batch is not known.
func (f *Falloff) Level(dst []float64, s *Setup, heights []float64) []float64 {
	if dst == nil {
		dst = make([]float64, len(heights))
	}
	batch := f.Offsets[batchKey(s.Batch)]
	for i := range heights {
		dst[i] = f.Predict(f.Theta, f.Site(s, i, heights), 0) + batch
	}
	if to := s.PlayedBy(f.Excite); to != f.Excite && !f.Pitch {
		for i, v := range curve.Convert(f.Excite, to, s.Strings) {
			dst[i] += v
		}
	}
	return dst
}

// Uncertainty is the covariance of the parameters carried to the levels, plus each
// string's own variance. The jig's slots and cells' residuals (errors of reading
// heights, of a mounting, of plucks) are not part of a built pickup.
func (f *Falloff) Uncertainty(s *Setup, heights []float64) *mat.SymDense {
	n, p := len(heights), f.Size()
	j := mat.NewDense(n, p, nil)
	variance := make([]float64, n)
	for i := range heights {
		site := f.Site(s, i, heights)
		f.Gradient(j.RawRowView(i), f.Theta, site, 0)
		variance[i] = f.stringVariance(s, i, site)
	}
	propagated := solve.Propagated(j, solve.Symmetric(f.Cov))
	cov := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			v := propagated.At(i, k)
			if w := s.Strings[i].Wrap; w == s.Strings[k].Wrap && w != profiles.Plain && !slices.Contains(f.Wraps, w) {
				v += f.unmeasuredWrapSD(s, i) * f.unmeasuredWrapSD(s, k)
			}
			if i == k {
				v += variance[i]
			}
			cov.SetSym(i, k, v)
		}
	}
	return cov
}

// guessedCoreSD is the standard deviation of the logarithm of a core that was
// estimated from its gauge: a third of the way to the limits of common practice.
const guessedCoreSD = 0.06

// stringVariance is the variance of ln v that one string over its pole shares with no
// other: of its magnet, of its diameter within tolerance, and of a prediction beyond the
// range of what was measured.
func (f *Falloff) stringVariance(s *Setup, i int, at *curve.Site) float64 {
	v := f.poleVariance(s, i) + solve.Square(f.SDs[1+curve.StringEffect])
	a := f.LogArea(f.Theta, at)
	perArea := f.Theta[curve.AreaExponent] + f.Theta[curve.Steepness]*f.GapTerm(f.Theta, a, at.Gap())
	if str := s.Strings[i]; str.CoreEstimated {
		share := str.Core * str.Core / (curve.RefDiameter * curve.RefDiameter * math.Exp(a))
		v += solve.Square(2 * guessedCoreSD * share * perArea)
	}
	return v + f.Range.extrapolationVariance(s.StringHeights[i]-at.Height, at.Height, at.Core)
}

// poleVariance is the variance of ln v from pole to pole; where the field of this
// pole's magnet was measured, what the field leaves of it.
func (f *Falloff) poleVariance(s *Setup, i int) float64 {
	_, measured := f.magnet(s, i)
	pole, magnet := solve.Square(f.SDs[1+curve.PoleEffect]), solve.Square(f.Theta[curve.FieldExponent]*f.FieldSD)
	switch {
	case f.PoleFields && !measured:
		return pole + magnet
	case !f.PoleFields && measured: // the scatter of test pickups' poles has that of their magnets in it
		return max(pole-magnet, pole/4)
	}
	return pole
}

// unmeasuredWrapSD is the standard deviation of a string's ln v because its wrap was
// never measured, but for what all wraps share.
func (f *Falloff) unmeasuredWrapSD(s *Setup, i int) float64 {
	str := s.Strings[i]
	wrap := f.WrapWeight(f.Theta, str.Wrap) * (str.Gauge*str.Gauge - str.Core*str.Core)
	return f.Theta[curve.AreaExponent] * wrap / (str.Core*str.Core + wrap) * curve.WrapPrior(str.Wrap).SD
}

func (f *Falloff) Warnings(s *Setup, heights []float64) []string {
	out := f.Range.warnings(s, heights)
	if f.NoReadings {
		out = []string{"nothing was measured yet: this stands on the handbook alone; capture a test pickup and fit"}
		if s.Excite == "" {
			out = append(out, "strings are taken to be released from a fixed displacement; write excite into the order's [target] where they are played otherwise")
		}
	}
	for _, str := range s.Strings {
		if _, err := profiles.Pitch(str.Note); err != nil && f.Pitch {
			out = append(out, "the strings' notes are not all given: levels are predicted as if they sounded alike; write each string's note into the order")
			break
		}
	}
	if to := s.PlayedBy(f.Excite); to != f.Excite {
		out = append(out, fmt.Sprintf("measured by %q, converted to %q from the strings' notes and masses", cmp.Or(f.Excite, "no known means"), to))
	}
	return out
}

// FallAt is the change of ln v from the reference gap to another, with its standard
// error, for a string of some steel inside the row.
func (f *Falloff) FallAt(logArea, gap float64) (fall, se float64) {
	d := curve.PlainDiameter(logArea)
	at := func(gap float64) *curve.Site {
		return &curve.Site{Core: d, Gauge: d, Wrap: profiles.Plain, StringHeight: gap - d/2}
	}
	here, there := at(gap), at(curve.RefGap)
	grad, ref := make([]float64, f.Size()), make([]float64, f.Size())
	f.Gradient(grad, f.Theta, here, 0)
	f.Gradient(ref, f.Theta, there, 0)
	for j := range grad {
		grad[j] -= ref[j]
	}
	g := mat.NewVecDense(len(grad), grad)
	v := mat.Inner(g, solve.Symmetric(f.Cov), g)
	return f.Predict(f.Theta, here, 0) - f.Predict(f.Theta, there, 0), math.Sqrt(max(0, v))
}
