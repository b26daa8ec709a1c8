package next

import (
	"math"
	"slices"

	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// unknowns are what several captures share: the curve's parameters, the effect of each
// string of each set and of each slot of the jig, and the coil and the poles of each
// pickup to be wound.
type unknowns struct {
	model  *fit.Falloff   // with a parameter for every wrap that matters
	at     map[string]int // where an effect stands, by its key
	sds    []float64      // of the effects before there are data; 0 for parameters
	cov    *mat.SymDense  // as far as the record and the captures chosen tell
	record *fit.Posterior // nil without a record
}

func newUnknowns(f *fit.Falloff, record *fit.Posterior, sets []profiles.StringSet, benches []benchPickup) *unknowns {
	u := &unknowns{model: f, record: record, at: map[string]int{}, sds: make([]float64, f.Size())}
	if record != nil {
		for i := range record.Cells {
			for _, k := range sharedEffects {
				u.place(k, curve.Effects[k].Key(&record.Cells[i]))
			}
		}
	}
	for _, set := range sets {
		for i, s := range set.Strings {
			u.place(curve.StringEffect, stringKey(set.Name, i, s))
			u.place(curve.SlotEffect, slotKey(i))
		}
	}
	for _, b := range benches {
		if u.ownPlaces(b) != nil {
			continue
		}
		for i := range b.poles {
			u.place(curve.PickupEffect, b.effectKey(curve.PickupEffect, i))
			u.place(curve.PoleEffect, b.effectKey(curve.PoleEffect, i))
		}
	}
	u.cov = u.covariance()
	return u
}

// sharedEffects are the effects that captures of several pickups share.
var sharedEffects = []int{curve.StringEffect, curve.SlotEffect}

// place gives an effect of kind k a place, unless it has one.
func (u *unknowns) place(k int, key string) {
	if _, ok := u.at[key]; !ok {
		u.at[key] = len(u.sds)
		u.sds = append(u.sds, math.Abs(u.model.SDs[1+k]))
	}
}

// stringKey and slotKey name effects as the model does.
func stringKey(set string, i int, s profiles.String) string {
	return curve.Effects[curve.StringEffect].Key(&cell.Cell{Set: set, String: i + 1, Core: s.Core, Gauge: s.Gauge})
}

func slotKey(i int) string { return curve.Effects[curve.SlotEffect].Key(&cell.Cell{String: i + 1}) }

// covariance is the covariance of the unknowns, as far as the record tells.
func (u *unknowns) covariance() *mat.SymDense {
	n := len(u.sds)
	cov := mat.NewSymDense(n, nil)
	for i, row := range u.model.Cov {
		for j := range row[:i+1] {
			cov.SetSym(i, j, row[j])
		}
	}
	for i := u.model.Size(); i < n; i++ {
		cov.SetSym(i, i, solve.Square(u.sds[i]))
	}
	if u.record == nil {
		return cov
	}
	place, scale := u.inRecord()
	for i := range n {
		for j := range i + 1 {
			if place[i] >= 0 && place[j] >= 0 {
				cov.SetSym(i, j, scale[i]*scale[j]*u.record.Shared().At(place[i], place[j]))
			}
		}
	}
	return cov
}

// inRecord is where each unknown stands among the shared ones of the record's posterior,
// -1 for nowhere, and the scale in which it stands there.
func (u *unknowns) inRecord() (place []int, scale []float64) {
	place, scale = make([]int, len(u.sds)), make([]float64, len(u.sds))
	for i := range place {
		place[i], scale[i] = -1, 1
		if i < u.record.Model.Size() {
			place[i] = i
		}
	}
	for c := range u.record.Cells {
		for _, k := range sharedEffects {
			i := u.at[curve.Effects[k].Key(&u.record.Cells[c])]
			place[i], scale[i] = u.record.SharedPlace(k, u.record.LevelOf(k, c))
		}
	}
	return place, scale
}

// ownPlaces finds a pickup's level and then its poles; nil when the record does
// not know it.
func (u *unknowns) ownPlaces(b benchPickup) []solve.Place {
	if u.record == nil || b.name == "" {
		return nil
	}
	out := make([]solve.Place, 1+len(b.poles))
	known := make([]bool, len(out))
	found := 0
	for i := range u.record.Cells {
		c := &u.record.Cells[i]
		if c.Pickup != b.name || known[c.String] {
			continue
		}
		known[c.String] = true
		found++
		out[0] = u.record.LocalPlace(curve.PickupEffect, u.record.LevelOf(curve.PickupEffect, i))
		out[c.String] = u.record.LocalPlace(curve.PoleEffect, u.record.LevelOf(curve.PoleEffect, i))
	}
	if found < len(b.poles) {
		return nil
	}
	return out
}

// withWraps is the model with a parameter for every wrap of pickups to come and
// of the sets at hand.
func withWraps(f *fit.Falloff, wants []Want, sets []profiles.StringSet) *fit.Falloff {
	g := *f
	g.Wraps = slices.Clone(f.Wraps)
	g.Theta = slices.Clone(f.Theta)
	add := func(strings []profiles.String) {
		for _, s := range strings {
			if s.Wrap != profiles.Plain && !slices.Contains(g.Wraps, s.Wrap) {
				g.Wraps = append(g.Wraps, s.Wrap)
				g.Theta = append(g.Theta, curve.WrapPrior(s.Wrap).Mean)
			}
		}
	}
	for _, w := range wants {
		add(w.Setup.Strings)
	}
	for _, s := range sets {
		add(s.Strings)
	}
	g.Cov = make([][]float64, g.Size())
	for i := range g.Cov {
		g.Cov[i] = make([]float64, g.Size())
		if i < f.Size() {
			copy(g.Cov[i], f.Cov[i])
		} else {
			g.Cov[i][i] = solve.Square(curve.WrapPrior(g.Wraps[i-curve.FixedParameters]).SD)
		}
	}
	return &g
}
