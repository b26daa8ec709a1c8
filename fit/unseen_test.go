package fit

import (
	"math"
	"sync/atomic"
	"testing"

	"evenpole/fit/cell"
	"evenpole/profiles"
)

// Pickups that are predicted by their share of the equations are predicted as by fits to
// the others, with intervals as wide. One that was plucked another way is not predicted.
func TestUnseenByShareIsByFitting(t *testing.T) {
	for _, k := range kinds {
		d := largeRecord(t, 8)
		for i := range d.Cells {
			if d.Cells[i].Pickup == d.Pickups()[3] {
				d.Cells[i].Remount(func(m *cell.Mounting) { m.Excite = profiles.Force })
			}
		}
		m, err := k.fit(t.Context(), d)
		if err != nil {
			t.Fatal(err)
		}
		u := &unseen{d: d, pickups: d.ByPickup(), refit: k.refitOf(m)}
		if err := u.prepare(t.Context(), k); err != nil || u.quick == nil {
			t.Fatalf("%s: pickups are left out by fitting the others: %v", k.name, err)
		}
		var steps atomic.Int32
		quick, err := PredictUnseen(t.Context(), m, d, func(int, int) { steps.Add(1) })
		if err != nil || int(steps.Load()) != len(u.pickups) {
			t.Fatalf("%s: %d steps, error %v", k.name, steps.Load(), err)
		}
		for i, cells := range u.pickups {
			if i%4 != 3 && i%10 != 0 {
				continue // a fit each
			}
			slow := u.byFitting(t.Context(), cells)
			if quick[i].Err != nil || slow.Err != nil {
				t.Fatalf("%s, %s: %v, by fitting %v", k.name, cells[0].Pickup, quick[i].Err, slow.Err)
			}
			for j := range cells {
				if math.IsNaN(slow.Expected[j]) != (i == 3) || math.IsNaN(quick[i].Expected[j]) != (i == 3) {
					t.Fatalf("%s, %s: expected %g, by fitting %g", k.name, cells[0].Pickup, quick[i].Expected[j], slow.Expected[j])
				}
				if d := math.Abs(quick[i].Expected[j] - slow.Expected[j]); d > 0.004 {
					t.Errorf("%s, %s: predicted to %.4f ln v as by fitting", k.name, cells[0].Pickup, d)
				}
				if q := quick[i].BalanceSD[j] / slow.BalanceSD[j]; math.Abs(q-1) > 0.02 {
					t.Errorf("%s, %s: an interval %.3f times as wide as by fitting", k.name, cells[0].Pickup, q)
				}
			}
		}
	}
}
