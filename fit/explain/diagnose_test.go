package explain

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
	"evenpole/fit/curve"
	"evenpole/fit/curve/curvetest"
	"evenpole/fit/level"
	"evenpole/profiles"
)

// TestDiagnoseAgrees: the pictures' figures are those of the fit and of its
// cross-validation.
func TestDiagnoseAgrees(t *testing.T) {
	d := celltest.Sample(t)
	for _, kind := range fit.Kinds() {
		r, err := fit.Best(context.Background(), d, nil, kind)
		if err != nil {
			t.Fatal(err)
		}
		got, err := Diagnose(t.Context(), r.Model, d, nil)
		if err != nil {
			t.Fatal(err)
		}
		var squares float64
		for _, c := range got.Cells {
			squares += math.Pow(c.Measured-c.Predicted, 2) / float64(len(got.Cells))
			if !(c.Half > 0) {
				t.Errorf("%s: %s string %d: half-width %g", kind, c.Pickup, c.String, c.Half)
			}
		}
		if rms := math.Sqrt(squares); math.Abs(rms-*r.CVBalance) > 1e-9 {
			t.Errorf("%s: points lie %.6f dB from what was predicted (rms), cross-validation says %.6f", kind, rms, *r.CVBalance)
		}
		if len(got.Cells) != len(d.Cells) || len(got.Notes) > 0 {
			t.Errorf("%s: %d of %d cells, notes %q", kind, len(got.Cells), len(d.Cells), got.Notes)
		}
		if curved := kind == "falloff"; (got.Fall != nil) != curved || (got.Effects != nil) != curved {
			t.Errorf("%s: %d curves, %d effects", kind, len(got.Fall), len(got.Effects))
		}
	}
}

// TestUnseenIntervals: of pickups that the fit has not seen, about 95 % of the
// balances lie within their intervals.
func TestUnseenIntervals(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	inside, all := 0, 0
	for range 3 {
		_, cells := curvetest.Shop(rng, 5)
		d := &cell.Data{Cells: cells}
		m, err := fit.OfKind(context.Background(), d, "falloff")
		if err != nil {
			t.Fatal(err)
		}
		got, err := Diagnose(t.Context(), m, d, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range got.Cells {
			all++
			if math.Abs(c.Measured-c.Predicted) <= c.Half {
				inside++
			}
		}
	}
	t.Logf("%d of %d inside", inside, all)
	if share := float64(inside) / float64(all); share < 0.88 || share > 0.99 {
		t.Errorf("%d of %d balances inside their 95 %% intervals", inside, all)
	}
}

// TestEffectIntervals: the poles' own effects lie within their intervals.
func TestEffectIntervals(t *testing.T) {
	rng := rand.New(rand.NewPCG(23, 24))
	d := celltest.Sample(t)
	m, err := fit.OfKind(context.Background(), d, "falloff")
	if err != nil {
		t.Fatal(err)
	}
	f := m.(*fit.Falloff)
	inside, all := 0, 0
	for range 20 { // poles of known strength in the record's own layout
		cells := slices.Clone(d.Cells)
		truth := map[string]float64{}
		for i := range cells {
			key := curve.Effects[curve.PoleEffect].Level(&cells[i]).String()
			if _, ok := truth[key]; !ok {
				truth[key] = f.SDs[1+curve.PoleEffect] * rng.NormFloat64()
			}
			last := cell.LastStrings(cells)[cells[i].Pickup]
			cells[i].Mean = f.Predict(f.Theta, f.CellSite(&cells[i], last), 0) + truth[key] + f.SDs[0]*rng.NormFloat64()
		}
		m, err := f.EffectsOf(cells, nil)
		if err != nil {
			t.Fatal(err)
		}
		p, err := m.Posterior()
		if err != nil {
			t.Fatal(err)
		}
		groups := effects(p)
		for _, l := range groups[curve.PoleEffect].Levels {
			all++
			if math.Abs(l.Value-level.PerLn*truth[l.Name]) <= l.Half {
				inside++
			}
		}
	}
	t.Logf("%d of %d inside", inside, all)
	if share := float64(inside) / float64(all); share < 0.93 {
		t.Errorf("%d of %d poles inside their 95 %% intervals", inside, all)
	}
}

// A pickup that was plucked another way than all others has no point in the pictures,
// and a note says so.
func TestDiagnosePickupOfAnotherExcitation(t *testing.T) {
	d := celltest.Sample(t)
	other := d.Pickups()[1]
	cells := 0
	for i := range d.Cells {
		if d.Cells[i].Pickup == other {
			d.Cells[i].Remount(func(m *cell.Mounting) { m.Excite = profiles.Force })
		} else {
			cells++
		}
	}
	for _, kind := range fit.Kinds() {
		m, err := fit.OfKind(context.Background(), d, kind)
		if err != nil {
			t.Fatal(err)
		}
		got, err := Diagnose(t.Context(), m, d, nil)
		if err != nil {
			t.Fatal(err)
		}
		if notes := strings.Join(got.Notes, "\n"); len(got.Cells) != cells || !strings.Contains(notes, fmt.Sprintf("pickup %q cannot be predicted from the others: they were plucked another way", other)) {
			t.Errorf("%s: %d cells, want %d; notes %q", kind, len(got.Cells), cells, got.Notes)
		}
	}
}

func TestClasses(t *testing.T) {
	for _, c := range []struct {
		values []float64
		sizes  []int
	}{
		{nil, nil},
		{[]float64{1}, []int{1}},
		{[]float64{3, 1, 2}, []int{1, 1, 1}},
		{[]float64{1, 1, 1, 1}, []int{4}},
		{[]float64{1, 1, 1, 2, 3, 4}, []int{3, 1, 2}},
	} {
		var sizes []int
		last := math.Inf(-1)
		for _, class := range classes(c.values) {
			sizes = append(sizes, len(class))
			if c.values[class[0]] <= last {
				t.Errorf("%v: a class begins at or below the one before", c.values)
			}
			last = c.values[class[len(class)-1]]
		}
		if !slices.Equal(sizes, c.sizes) {
			t.Errorf("%v: classes of %v, want %v", c.values, sizes, c.sizes)
		}
	}
}
