package fit

import (
	"context"
	"math"
	"slices"
	"sync"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"
)

// falloffLeaver leaves pickups and cells out of a falloff model at its standard
// deviations, its weights and its tangent: a pickup is one group of the mixed model, so
// that what the others say is the shared equations less that group's share. The curve is
// not made linear anew, which is exact to second order in how far the parameters move:
// with leastPickups others they move little. TestLeavingOutIsRefitting holds it against
// full fits, to 0.005 dB in each score.
type falloffLeaver struct {
	*iteration // which led to the model
	solved     *solve.Solved

	fieldsKnown, pitchless int                // cells whose pole's field was measured, and those without a pitch
	batches                []int              // cells of each batch
	loose                  map[string]float64 // ln B of batches' loose magnets

	oneAtATime sync.Mutex
}

// leastPickups is from how many pickups on leaving one out by its share is exact enough.
const leastPickups = 20

// setNear is by how much a parameter may move without a string set for that to be left out
// by its share, as a pickup is; setRest, in the last round where one moves by more.
const (
	setNear = 5e-2
	setRest = 2e-3
)

// newFalloffLeaver leaves parts out of what an iteration ended with; loose is ln B of
// batches' loose magnets.
func newFalloffLeaver(it *iteration, solved *solve.Solved, loose map[string]float64) *falloffLeaver {
	l := &falloffLeaver{iteration: it, solved: solved, loose: loose}
	l.batches = make([]int, 1+slices.Max(it.m.Terms[curve.BatchEffect].Level))
	for i := range l.cells {
		l.count(i, &l.fieldsKnown, &l.pitchless)
		l.batches[l.batchOf(i)]++
	}
	return l
}

// leaver is nil where every part has to be left out by fitting the rest.
func (f *Falloff) leaver(d *cell.Data) *falloffLeaver {
	l := f.fitted
	if l == nil || len(l.cells) != len(d.Cells) || len(f.LevelCounts) == 0 || f.LevelCounts[curve.PickupEffect] < leastPickups {
		return nil
	}
	return l
}

// count counts cell i.
func (l *falloffLeaver) count(i int, fieldsKnown, pitchless *int) {
	if l.cells[i].FieldKnown {
		*fieldsKnown++
	}
	if l.cells[i].Freq <= 0 {
		*pitchless++
	}
}

// sameTerms reports whether the model has the same terms without some cells.
func (l *falloffLeaver) sameTerms(out []int) bool {
	known, pitchless := 0, 0
	for _, i := range out {
		l.count(i, &known, &pitchless)
	}
	return (l.fieldsKnown == 0 || known < l.fieldsKnown) && (l.pitchless == 0 || pitchless < l.pitchless)
}

func (l *falloffLeaver) withoutPickup(k int) (func(i int) float64, error) {
	rest, own, err := l.withoutGroup(k)
	if err != nil {
		return nil, err
	}
	return l.expectFrom(rest, own), nil
}

func (l *falloffLeaver) unseen(k int) (expect, balanceSD func(i int) float64, err error) {
	rest, own, err := l.withoutGroup(k)
	if err != nil {
		return nil, nil, err
	}
	variances := rest.UnseenVariances(own, float64(l.tempering))
	return l.expectFrom(rest, own), func(i int) float64 { return math.Sqrt(variances[i-own[0]]) }, nil
}

// withoutGroup is what the pickups but one say, and that one's cells.
func (l *falloffLeaver) withoutGroup(k int) (rest *solve.Shared, own []int, err error) {
	own = between(l.solved.Observations(k))
	if !l.sameTerms(own) {
		return nil, nil, errRefit
	}
	rest, err = l.solved.WithoutGroup(k)
	return rest, own, err
}

// withoutCells goes on from there as a fit does, until parameters move by less than
// setRest: a string set may be a large part of what tells some of them.
func (l *falloffLeaver) withoutCells(out []int) (func(i int) float64, error) {
	if !l.sameTerms(out) {
		return nil, errRefit
	}
	rest, err := l.solved.Without(out)
	if err != nil {
		return nil, err
	}
	if furthest(rest.Beta, l.f.Theta) < setNear {
		return l.expectFrom(rest, out), nil
	}
	l.oneAtATime.Lock() // it works on all cores, and takes memory
	defer l.oneAtATime.Unlock()
	g := *l.f
	g.Theta = slices.Clone(rest.Beta)
	weight, isOut := slices.Clone(l.m.Weight), make([]bool, len(l.cells))
	for _, i := range out {
		weight[i], isOut[i] = 0, true
	}
	it := iteration{f: &g, cells: l.cells, sites: l.sites, m: l.m.With(nil, weight), lift: l.lift, skip: func(i int) bool { return isOut[i] }}
	fit, _, err := it.run(context.Background(), l.sds, false, setRest)
	if err != nil {
		return nil, err
	}
	return l.expectFrom(sharedOf(fit), out), nil
}

// sharedOf are a fit's unknowns that all pickups share.
func sharedOf(fit *solve.MixedFit) *solve.Shared {
	return &solve.Shared{Beta: fit.Beta, U: func(k, l int) float64 { return fit.U[k][l][0] }}
}

// batchOf is the number of a cell's batch.
func (l *falloffLeaver) batchOf(i int) int { return l.m.Terms[curve.BatchEffect].Level.At(i) }

// expectFrom predicts cells as Falloff.Expect does, once some are out.
func (l *falloffLeaver) expectFrom(rest *solve.Shared, out []int) func(i int) float64 {
	strings, slots := &l.m.Terms[curve.StringEffect], &l.m.Terms[curve.SlotEffect]
	batches, jigs := l.batchOffsets(rest, out), l.m.Terms[curve.JigEffect].Level
	steels := l.f.Steels(rest.Beta, l.sites.strings)
	return func(i int) float64 {
		jig := 0.0
		if l := jigs.At(i); l >= 0 {
			jig = rest.U(curve.JigEffect, l)
		}
		return jig + steels.Predict(int(l.sites.string[i]), l.sites.place(i), 0) + batches[l.batchOf(i)] +
			rest.U(curve.StringEffect, int(strings.Level[i])) + rest.U(curve.SlotEffect, int(slots.Level[i]))
	}
}

// batchOffsets are the offsets of the batches by the cells that are left; of a batch that
// has none, what its loose magnets say.
func (l *falloffLeaver) batchOffsets(rest *solve.Shared, out []int) []float64 {
	left := slices.Clone(l.batches)
	name := map[int]string{} // of those that lost cells
	for _, i := range out {
		left[l.batchOf(i)]--
		name[l.batchOf(i)] = l.cells[i].Batch
	}
	offsets := make([]float64, len(left))
	for batch := range offsets {
		offsets[batch] = rest.U(curve.BatchEffect, batch)
	}
	for batch := range name {
		if left[batch] == 0 {
			offsets[batch] = l.looseOffset(rest, left, name[batch])
		}
	}
	return offsets
}

// looseOffset is the offset of a batch that no cell is left of.
func (l *falloffLeaver) looseOffset(rest *solve.Shared, left []int, name string) float64 {
	built := map[string]float64{}
	for i := range l.cells {
		if b := l.batchOf(i); left[b] > 0 {
			built[l.cells[i].Batch] = rest.U(curve.BatchEffect, b)
		}
	}
	return unbuiltOffsets(l.loose, built, rest.Beta[curve.FieldExponent])[name]
}
