package next

import (
	"cmp"
	"math"

	"evenpole/fit"
	"evenpole/fit/curve"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// candidate is a capture with what it would measure of the unknowns. There are many of
// them: what the captures of a pickup share, and what is zero, is not kept with each.
type candidate struct {
	Proposal
	key     string // of a test pickup to be wound
	own     *ownPart
	effects []effectPlaces
	ofCurve []float64 // gradient of its cells' levels by the curve's parameters, string by string
	slope   []float64 // of these levels by the strings' height
}

// stringSet is a set of strings with the places of their effects.
type stringSet struct {
	profiles.StringSet
	effects []effectPlaces
}

// effectPlaces are where the effects of a string and of its slot stand.
type effectPlaces struct{ str, slot int }

func (u *unknowns) setOf(set profiles.StringSet) stringSet {
	out := stringSet{StringSet: set}
	for i, s := range set.Strings {
		out.effects = append(out.effects, effectPlaces{u.at[stringKey(set.Name, i, s)], u.at[slotKey(i)]})
	}
	return out
}

// The captures that are considered: with strings where they usually lie, and higher by
// liftForNext; with so many takes of each string.
const (
	liftForNext  = 0.8 // mm
	takesForNext = 6
	takeScatter  = 0.03 // ln v, of one take
)

// candidateOf is the capture of a pickup under a set, its strings higher by lift, mm.
func (u *unknowns) candidateOf(b benchPickup, own *ownPart, set stringSet, lift float64) candidate {
	c := candidate{key: b.key, own: own, effects: set.effects, Proposal: Proposal{Pickup: b.name, Set: set.Name, Strings: set.Strings, PoleHeights: b.poles, Higher: lift}}
	for _, h := range b.strings {
		c.StringHeights = append(c.StringHeights, math.Round(100*(h+lift))/100)
	}
	u.measure(&c, b)
	return c
}

// measure works out what a capture would measure of the curve.
func (u *unknowns) measure(c *candidate, b benchPickup) {
	f, n := u.model, len(b.poles)
	s := &fit.Setup{Strings: c.Strings, StringHeights: c.StringHeights, Excite: cmp.Or(f.Excite, profiles.Travel)}
	c.ofCurve, c.slope = make([]float64, n*f.Size()), make([]float64, n)
	for i := range n {
		c.slope[i] = f.Gradient(c.ofCurve[i*f.Size():(i+1)*f.Size()], f.Theta, f.Site(s, i, b.poles), 0)
	}
}

// gradientOf is the gradient of a capture's cells' levels by the unknowns, one row a
// string. The level and the poles of a pickup of the record depend on the unknowns as far
// as its cells tell; those of a pickup to be wound are unknowns.
func (u *unknowns) gradientOf(c *candidate, dst *mat.Dense) {
	dst.Copy(c.own.gradient)
	m := u.model.Size()
	for i := range c.slope {
		row := dst.RawRowView(i)
		for j, v := range c.ofCurve[i*m : (i+1)*m] {
			row[j] += v
		}
		row[c.effects[i].str]++
		row[c.effects[i].slot]++
	}
}

// noiseOf is the covariance of a capture's cells' levels, the unknowns given. What the
// level and the poles of a pickup of the record scatter then is noise.
func (u *unknowns) noiseOf(c *candidate, dst *mat.SymDense) {
	f, n := u.model, len(c.slope)
	for i := range n {
		for k := i; k < n; k++ {
			v := c.own.scatter.At(i, k) + solve.Square(f.SDs[1+curve.MountingEffect])*c.slope[i]*c.slope[k]
			if i == k {
				v += solve.Square(f.SDs[0]) + solve.Square(takeScatter)/takesForNext
			}
			dst.SetSym(i, k, v)
		}
	}
}

// ownPart is what a pickup's level and poles add to its strings, whatever is captured of
// it: by how much the unknowns shift that, and its covariance when they are given.
type ownPart struct {
	gradient *mat.Dense
	scatter  *mat.SymDense
	columns  []bool // of the unknowns: the gradient by it may not be 0
}

func (u *unknowns) ownPartOf(b benchPickup) *ownPart {
	own := u.ownGradientOf(b)
	own.columns = make([]bool, len(u.sds))
	for i := range b.poles {
		for j, v := range own.gradient.RawRowView(i) {
			own.columns[j] = own.columns[j] || v != 0
		}
	}
	return own
}

func (u *unknowns) ownGradientOf(b benchPickup) *ownPart {
	n := len(b.poles)
	own := &ownPart{gradient: mat.NewDense(n, len(u.sds), nil), scatter: mat.NewSymDense(n, nil)}
	if !u.known(b) {
		for i := range n {
			own.gradient.Set(i, u.at[b.effectKey(curve.PickupEffect, i)], 1)
			own.gradient.Set(i, u.at[b.effectKey(curve.PoleEffect, i)], 1)
		}
		return own
	}
	at := u.measured[b.name]
	sums := make([][]solve.Place, n)
	for i := range sums {
		sums[i] = []solve.Place{at[0], at[i+1]}
	}
	scatter, shift, err := u.record.Given(sums)
	if err != nil {
		return own // the block was factorised before: it is sound
	}
	own.scatter = scatter
	for i := range n {
		for j, p := range u.inRecord {
			if p >= 0 {
				own.gradient.Set(i, j, -shift.At(i, p)/u.scale[j])
			}
		}
	}
	return own
}
