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

// Expect predicts cells of a pickup with the offsets of their batch, strings, slots and jigs.
func (f *Falloff) Expect(cells []cell.Cell) []float64 {
	out := make([]float64, len(cells))
	last := cell.LastStrings(cells)
	solve.InParallel(len(cells), func(from, to int) {
		var known [len(offsetEffects)]offsets
		for i, k := range offsetEffects {
			known[i] = f.offsetsOf(k)
		}
		for i := from; i < to; i++ {
			c := &cells[i]
			if !f.predicts(c) {
				out[i] = math.NaN()
				continue
			}
			out[i] = f.Predict(f.Theta, f.CellSite(c, last[c.Pickup]), 0)
			for _, o := range known {
				out[i] += o.of(c)
			}
		}
	})
	return out
}

// predicts reports whether it can predict a cell.
func (f *Falloff) predicts(c *cell.Cell) bool { return c.Excite == f.Excite }

// offsets are those of one effect's levels; texts are looked up once for each level.
type offsets struct {
	effect *curve.Effect
	all    map[string]float64
	seen   map[curve.EffectLevel]float64
}

// offsetEffects are the effects whose offsets a model keeps.
var offsetEffects = [...]int{curve.BatchEffect, curve.StringEffect, curve.SlotEffect, curve.JigEffect}

// offsetEffect is an effect by whose levels offsets are kept: all jigs have one.
func offsetEffect(k int) *curve.Effect {
	e := curve.Effects[k]
	if k == curve.JigEffect {
		e.Level = curve.JigLevel
	}
	return &e
}

func (f *Falloff) offsetsOf(k int) offsets {
	return offsets{offsetEffect(k), f.Offsets, map[curve.EffectLevel]float64{}}
}

// of is the offset of a cell, ln v; 0 where its level is not known.
func (o *offsets) of(c *cell.Cell) float64 {
	l := o.effect.Level(c)
	v, ok := o.seen[l]
	if !ok {
		v = o.all[o.effect.Key(c)]
		o.seen[l] = v
	}
	return v
}

// Site is the curve's inputs for one string of a setup over its pole.
func (f *Falloff) Site(s *Setup, i int, heights []float64) *curve.Site {
	return f.siteUnder(s, s.Strings[i], i, heights[i])
}

// siteUnder is the curve's inputs for a string in place i of a setup, over a pole of some
// height.
func (f *Falloff) siteUnder(s *Setup, str profiles.String, i int, height float64) *curve.Site {
	out := &curve.Site{Core: str.Core, Gauge: str.Gauge, Wrap: str.Wrap, Height: height, StringHeight: s.StringHeights[i],
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
				v += j.At(i, curve.WrapCommon) * j.At(k, curve.WrapCommon) * solve.Square(curve.WrapPrior(w).SD)
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
	if s.Strings[i].CoreEstimated {
		v += solve.Square(f.guessedCoreError(s, i, at.Height))
	}
	return v + f.Range.extrapolationVariance(s.StringHeights[i]-at.Height, at.Height, at.Core)
}

// guessedCoreError is the standard deviation of ln v that a guessed core of string i
// leaves: half of what its level differs by from a core thinner by guessedCoreSD to one
// thicker by that, in the same gauge.
func (f *Falloff) guessedCoreError(s *Setup, i int, height float64) float64 {
	at := func(off float64) float64 {
		str := s.Strings[i]
		str.Core *= math.Exp(off)
		return f.Predict(f.Theta, f.siteUnder(s, str, i, height), 0)
	}
	return (at(guessedCoreSD) - at(-guessedCoreSD)) / 2
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

func (f *Falloff) Warnings(s *Setup, heights []float64) []string {
	out := f.Range.warnings(s, heights)
	if f.NoReadings {
		out = []string{"nothing was measured yet: this stands on the handbook alone; capture a test pickup and fit (evenpole next says which capture would tell most)"}
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
	if to := s.PlayedBy(f.Excite); to != f.Excite && !f.NoReadings {
		out = append(out, fmt.Sprintf("measured by %q, converted to %q from the strings' notes and masses", cmp.Or(f.Excite, "no known means"), to))
		if f.Excite == profiles.Drive {
			out = append(out, "an exciter leaves out what plucks give one string more than another: a pickup that is captured both ways tells it")
		}
	}
	return out
}

// FallAt is the change of ln v from the reference gap to another, with its standard
// error, for the string of a site as it would be inside the row.
func (f *Falloff) FallAt(of *curve.Site, gap float64) (fall, se float64) {
	grad, ref := make([]float64, f.Size()), make([]float64, f.Size())
	f.Gradient(grad, f.Theta, atGap(of, gap), 0)
	f.Gradient(ref, f.Theta, atGap(of, curve.RefGap), 0)
	for j := range grad {
		grad[j] -= ref[j]
	}
	g := mat.NewVecDense(len(grad), grad)
	v := mat.Inner(g, solve.Symmetric(f.Cov), g)
	return f.Fall(of, gap), math.Sqrt(max(0, v))
}

// Fall is the fall of FallAt alone.
func (f *Falloff) Fall(of *curve.Site, gap float64) float64 {
	return f.Predict(f.Theta, atGap(of, gap), 0) - f.Predict(f.Theta, atGap(of, curve.RefGap), 0)
}

// atGap is a site's string at a gap, over a pole that ends at the bobbin plane.
func atGap(of *curve.Site, gap float64) *curve.Site {
	return &curve.Site{Core: of.Core, Gauge: of.Gauge, Wrap: of.Wrap, StringHeight: gap - of.Gauge/2}
}
