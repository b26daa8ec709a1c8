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

// candidate is a capture with what it would measure of the unknowns.
type candidate struct {
	Proposal
	key      string        // of a test pickup to be wound
	gradient *mat.Dense    // of its cells' levels, by the unknowns: one row a string
	noise    *mat.SymDense // covariance of its cells' levels, the unknowns given
}

// The captures that are considered: with strings where they usually lie, and higher by
// liftForNext; with so many takes of each string.
const (
	liftForNext  = 0.8 // mm
	takesForNext = 6
	takeScatter  = 0.03 // ln v, of one take
)

// candidateOf is the capture of a pickup under a set, its strings higher by lift, mm.
func (u *unknowns) candidateOf(b benchPickup, own *ownPart, set profiles.StringSet, lift float64) candidate {
	c := candidate{key: b.key, Proposal: Proposal{Pickup: b.name, Set: set.Name, Strings: set.Strings, PoleHeights: b.poles, Higher: lift}}
	for _, h := range b.strings {
		c.StringHeights = append(c.StringHeights, math.Round(100*(h+lift))/100)
	}
	u.measure(&c, b, own)
	return c
}

// measure works out what a capture would measure, and how noisily. The level and the
// poles of a pickup of the record depend on the unknowns as far as its cells tell; what
// they scatter given the unknowns is noise. Those of a pickup to be wound are unknowns.
func (u *unknowns) measure(c *candidate, b benchPickup, own *ownPart) {
	f, n := u.model, len(b.poles)
	s := &fit.Setup{Strings: c.Strings, StringHeights: c.StringHeights, Excite: cmp.Or(f.Excite, profiles.Travel)}
	c.gradient, c.noise = mat.DenseCopyOf(own.gradient), mat.NewSymDense(n, nil)
	slope := make([]float64, n)
	ofCurve := make([]float64, f.Size())
	for i := range n {
		row := c.gradient.RawRowView(i)
		slope[i] = f.Gradient(ofCurve, f.Theta, f.Site(s, i, b.poles), 0)
		for j, v := range ofCurve {
			row[j] += v
		}
		row[u.at[stringKey(c.Set, i, c.Strings[i])]]++
		row[u.at[slotKey(i)]]++
	}
	for i := range n {
		for k := i; k < n; k++ {
			v := own.scatter.At(i, k) + solve.Square(f.SDs[1+curve.MountingEffect])*slope[i]*slope[k]
			if i == k {
				v += solve.Square(f.SDs[0]) + solve.Square(takeScatter)/takesForNext
			}
			c.noise.SetSym(i, k, v)
		}
	}
}

// ownPart is what a pickup's level and poles add to its strings, whatever is captured of
// it: by how much the unknowns shift that, and its covariance when they are given.
type ownPart struct {
	gradient *mat.Dense
	scatter  *mat.SymDense
}

func (u *unknowns) ownPartOf(b benchPickup) *ownPart {
	n := len(b.poles)
	own := &ownPart{mat.NewDense(n, len(u.sds), nil), mat.NewSymDense(n, nil)}
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
