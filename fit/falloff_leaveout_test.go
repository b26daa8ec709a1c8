package fit

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
)

// largeRecord is the sample's record several times over, every copy a bench's pickups of
// their own: levels of coils, poles and cells differ from copy to copy, and one string set
// stands in each.
func largeRecord(t *testing.T, copies int) *cell.Data {
	rng := rand.New(rand.NewPCG(5, uint64(copies)))
	d := *celltest.Sample(t)
	sample := d.Cells
	d.Cells = nil
	for n := range copies {
		shift := map[string]float64{}
		for _, c := range sample {
			c.Remount(func(m *cell.Mounting) { m.Pickup = string(rune('A'+n)) + m.Pickup })
			pole := c.Pickup + string(rune('0'+c.String))
			for _, key := range []string{c.Pickup, pole} {
				if _, ok := shift[key]; !ok {
					shift[key] = 0.06 * rng.NormFloat64()
				}
			}
			higher := 0.2 * rng.NormFloat64()
			c.PoleHeight += higher
			c.Mean += 0.6*higher + shift[c.Pickup] + shift[pole] + 0.02*rng.NormFloat64()
			d.Cells = append(d.Cells, c)
		}
	}
	d.Batches = map[string]float64{"lone": 4.7} // ln mT of loose magnets
	for i := range d.Cells {
		c := &d.Cells[i]
		if c.Pickup == d.Cells[0].Pickup {
			c.Remount(func(m *cell.Mounting) { m.Batch = "lone" }) // what the others cannot tell but by its loose magnets
		} else {
			d.Batches[c.Batch] = 4.6
		}
	}
	return &d
}

// A part that is left out by its share of the equations is predicted as by a fit to the
// rest, to 0.005 dB in its score.
func TestLeavingOutIsRefitting(t *testing.T) {
	for _, k := range kinds {
		for _, copies := range []int{8, 20} {
			leavingOutIsRefitting(t, k, largeRecord(t, copies))
		}
	}
	several := largeRecord(t, 8) // the copies on two jigs
	for i := range several.Cells {
		c := &several.Cells[i]
		jig := "a"
		if c.Pickup[0]%2 == 0 {
			jig = "b"
			c.Mean += 0.1
		}
		c.Remount(func(m *cell.Mounting) { m.Jig = jig })
	}
	leavingOutIsRefitting(t, falloffKind, several)
}

func leavingOutIsRefitting(t *testing.T, k modelKind, d *cell.Data) {
	t.Helper()
	m, err := k.fit(context.Background(), d)
	if err != nil {
		t.Fatal(err)
	}
	quick, slow := &validation{quick: k.leaver(m, d)}, &validation{}
	if quick.quick == nil {
		t.Fatalf("%s of %d pickups: parts are left out by fitting the rest", k.name, len(d.Pickups()))
	}
	var cv [2]crossValidation
	for i, v := range []*validation{quick, slow} {
		v.ctx, v.d, v.parts, v.refit = context.Background(), d, partsOf(d), k.refitOf(m)
		if cv[i], err = v.run(); err != nil {
			t.Fatal(err)
		}
	}
	worst := [2]float64{}
	for i, list := range [][]Fold{cv[0].pickups, cv[0].sets} {
		other := [][]Fold{cv[1].pickups, cv[1].sets}[i]
		for j := range list {
			if list[j].Cells != other[j].Cells || list[j].Cells == 0 {
				t.Fatalf("%s, %q: %d cells, by fitting %d", k.name, list[j].Name, list[j].Cells, other[j].Cells)
			}
			worst[i] = max(worst[i], math.Abs(*list[j].Balance-*other[j].Balance), math.Abs(*list[j].Level-*other[j].Level))
		}
	}
	t.Logf("%s, %d pickups: worst difference of a score %.5f dB; balance %.4f %.4f, sets %.4f %.4f", k.name, len(d.Pickups()), worst, *cv[0].balance, *cv[1].balance, *cv[0].set, *cv[1].set)
	if max(worst[0], worst[1]) > 0.005 {
		t.Errorf("%s, %d pickups: scores differ by %.4f dB", k.name, len(d.Pickups()), worst)
	}
}
