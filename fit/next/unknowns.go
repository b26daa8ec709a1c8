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

	inRecord []int                    // where each unknown stands among the shared ones of the record; -1 = nowhere
	scale    []float64                // in which it stands there
	measured map[string][]solve.Place // of each pickup of the record: its level, then its poles
}

func newUnknowns(f *fit.Falloff, record *fit.Posterior, sets []profiles.StringSet, benches []benchPickup) *unknowns {
	u := &unknowns{model: f, record: record, at: map[string]int{}, sds: make([]float64, f.Size())}
	u.addRecord()
	for _, set := range sets {
		for i, s := range set.Strings {
			u.place(curve.StringEffect, stringKey(set.Name, i, s))
			u.place(curve.SlotEffect, slotKey(i))
		}
	}
	for _, b := range benches {
		if u.known(b) {
			continue
		}
		for i := range b.poles {
			u.place(curve.PickupEffect, b.effectKey(curve.PickupEffect, i))
			u.place(curve.PoleEffect, b.effectKey(curve.PoleEffect, i))
		}
	}
	for len(u.inRecord) < len(u.sds) {
		u.inRecord, u.scale = append(u.inRecord, -1), append(u.scale, 1)
	}
	u.cov = u.covariance()
	return u
}

// addRecord gives the effects of the record places, and finds where they and the
// parameters stand there, and where the level and the poles of each pickup do.
func (u *unknowns) addRecord() {
	for j := range u.sds {
		at := -1
		if u.record != nil && j < u.record.Model.Size() {
			at = j
		}
		u.inRecord, u.scale = append(u.inRecord, at), append(u.scale, 1)
	}
	if u.record == nil {
		return
	}
	u.measured = map[string][]solve.Place{}
	seen := map[[2]int]bool{} // effects and their levels
	for i := range u.record.Cells {
		c := &u.record.Cells[i]
		for _, k := range sharedEffects {
			l := u.record.LevelOf(k, i)
			if seen[[2]int{k, l}] {
				continue
			}
			seen[[2]int{k, l}] = true
			u.place(k, curve.Effects[k].Key(c))
			at, scale := u.record.SharedPlace(k, l)
			u.inRecord, u.scale = append(u.inRecord, at), append(u.scale, scale)
		}
		u.addPole(c, i)
	}
}

// addPole finds the level of cell i's pickup and its pole, by the first cell of each.
func (u *unknowns) addPole(c *cell.Cell, i int) {
	places := u.measured[c.Pickup]
	for len(places) <= c.String {
		places = append(places, solve.Place{})
	}
	if places[c.String] == (solve.Place{}) {
		places[0] = u.record.LocalPlace(curve.PickupEffect, u.record.LevelOf(curve.PickupEffect, i))
		places[c.String] = u.record.LocalPlace(curve.PoleEffect, u.record.LevelOf(curve.PoleEffect, i))
	}
	u.measured[c.Pickup] = places
}

// known reports whether the record knows a pickup and all its poles.
func (u *unknowns) known(b benchPickup) bool {
	places := u.measured[b.name]
	return b.name != "" && len(places) == 1+len(b.poles) && !slices.Contains(places, solve.Place{})
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
	return curve.Effects[curve.StringEffect].Key(&cell.Cell{Mounting: &cell.Mounting{Set: set}, String: i + 1, Core: s.Core, Gauge: s.Gauge})
}

func slotKey(i int) string {
	return curve.Effects[curve.SlotEffect].Key(&cell.Cell{Mounting: &cell.Mounting{}, String: i + 1})
}

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
	place, scale := u.inRecord, u.scale
	for i := range n {
		for j := range i + 1 {
			if place[i] >= 0 && place[j] >= 0 {
				cov.SetSym(i, j, scale[i]*scale[j]*u.record.Shared().At(place[i], place[j]))
			}
		}
	}
	return cov
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
