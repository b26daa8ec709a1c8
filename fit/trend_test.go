package fit

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"evenpole/fit/cell"
	"evenpole/fit/level"
)

var firstDay = time.Date(2026, 1, 5, 9, 0, 0, 0, time.UTC)

// monthsOn is a time so many months after the first day.
func monthsOn(months float64) time.Time {
	return firstDay.Add(time.Duration(months * monthHours * float64(time.Hour)))
}

// monthly has the moments of misses one month apart.
func monthly(misses ...float64) []timedError {
	var b []timedError
	for i, m := range misses {
		b = append(b, timedError{monthsOn(float64(i)), m})
	}
	return b
}

// rising is a block of n whose order means nothing here: only its size does.
func rising(n int) []timedError {
	b := make([]float64, n)
	for i := range b {
		b[i] = float64(i)
	}
	return monthly(b...)
}

// One-sided chances of Kendall's score as tabulated (R. O. Gilbert, Statistical
// Methods for Environmental Pollution Monitoring, 1987, table A18, from memory;
// TestTrendChanceByEnumeration recomputes them).
func TestTrendChanceAgainstTable(t *testing.T) {
	for _, c := range []struct {
		n, score int
		want     float64
	}{{4, 6, 0.042}, {5, 8, 0.042}, {5, 10, 0.0083}, {8, 16, 0.031}, {10, 23, 0.023}, {10, 27, 0.0083}} {
		if got := trendPValue([][]timedError{rising(c.n)}, c.score) / 2; math.Abs(got-c.want) > 0.0006 {
			t.Errorf("n = %d, S = %d: got %.4f, want %.4f", c.n, c.score, got, c.want)
		}
	}
}

// All orders of two blocks, one by one.
func TestTrendChanceByEnumeration(t *testing.T) {
	blocks := [][]timedError{rising(5), rising(4), rising(1)}
	var scores []int
	allOrders(5, func(a []float64) {
		allOrders(4, func(b []float64) {
			_, s := comparePairs([][]timedError{monthly(a...), monthly(b...)})
			scores = append(scores, s)
		})
	})
	if len(scores) != 120*24 {
		t.Fatalf("%d orders", len(scores))
	}
	for score := range 17 {
		far := 0
		for _, s := range scores {
			if max(s, -s) >= score {
				far++
			}
		}
		want := float64(far) / float64(len(scores))
		if got := trendPValue(blocks, -score); math.Abs(got-want) > 1e-12 {
			t.Errorf("S = %d: got %g, want %g", score, got, want)
		}
	}
}

// allOrders hands out every order of 0 to n-1 (B. R. Heap, Permutations by
// interchanges, 1963).
func allOrders(n int, visit func([]float64)) {
	v := make([]float64, n)
	for i := range v {
		v[i] = float64(i)
	}
	var heap func(k int)
	heap = func(k int) {
		if k == 1 {
			visit(v)
			return
		}
		for i := range k {
			heap(k - 1)
			j := 0
			if k%2 == 0 {
				j = i
			}
			if i < k-1 {
				v[j], v[k-1] = v[k-1], v[j]
			}
		}
	}
	heap(n)
}

// Where the normal limit takes over, it is close to the exact sum.
func TestTrendChanceOfManyIsClose(t *testing.T) {
	blocks := [][]timedError{rising(142)}
	chances := inversionChances(blocks)
	for _, score := range []int{101, 1001, 1501} {
		var exact float64
		for inversions, q := range chances {
			if s := 142*141/2 - 2*inversions; max(s, -s) >= score {
				exact += q
			}
		}
		if got := trendPValue(blocks, score); math.Abs(got-exact) > 0.001 {
			t.Errorf("S = %d: normal %.5f, exact %.5f", score, got, exact)
		}
	}
}

// watched are folds of pickups captured a month apart, each missed as given.
func watched(misses ...float64) []Fold {
	var folds []Fold
	for i, m := range misses {
		name := fmt.Sprint("P", i)
		own := []cell.Cell{{Mounting: &cell.Mounting{Pickup: name}, First: cell.InstantOf(monthsOn(float64(i)))}, {Mounting: &cell.Mounting{Pickup: name}, First: cell.InstantOf(monthsOn(float64(i)))}}
		folds = append(folds, Fold{Name: name, cells: own, errors: []float64{m - 0.3, m + 0.3}})
	}
	return folds
}

func TestDriftIsToldFromPickups(t *testing.T) {
	d := trendOf(watched(0.1, 0.2, 0.3, 0.4, 0.5, 0.6))
	if d == nil || math.Abs(d.PerMonth-level.PerLn*0.1) > 1e-6 || math.Abs(d.P-2.0/720) > 1e-12 || d.Pickups != 6 || d.Repeats != 0 {
		t.Fatalf("got %+v", d)
	}
	if w := d.warning(); !strings.Contains(w, "from 2026-01-05 to 2026-06-06 pickups came out +0.87 dB per month") {
		t.Errorf("got %q", w)
	}
	if w := trendOf(watched(0.1, 0.2, 0.3, 0.4, 0.6, 0.5)).warning(); w != "" { // p = 12/720
		t.Errorf("not clear enough, and yet: %q", w)
	}
}

func TestDriftThatCannotBeTold(t *testing.T) {
	untimed, soon, unpredicted := watched(1, 2, 3), watched(1, 2, 3), watched(1, 2, 3)
	for i := range 3 {
		for j := range 2 {
			untimed[i].cells[j].First = cell.Instant{}
			soon[i].cells[j].First = cell.InstantOf(firstDay.Add(time.Duration(i) * 24 * time.Hour))
			unpredicted[i].errors[j] = math.NaN()
		}
	}
	for name, folds := range map[string][]Fold{"no time": untimed, "three days": soon, "no prediction": unpredicted, "one pickup": watched(1), "nothing": nil} {
		if d := trendOf(folds); d != nil {
			t.Errorf("%s: got %+v", name, d)
		}
	}
}

// A pickup that is captured again and again tells a drift by itself; under
// other strings it does not: these differ anyhow.
func TestDriftIsToldFromRepeats(t *testing.T) {
	var f Fold
	for i := range 6 {
		f.cells = append(f.cells, cell.Cell{Mounting: &cell.Mounting{Pickup: "P", Session: fmt.Sprint("s", i), Set: "X"}, StringHeight: 3, First: cell.InstantOf(monthsOn(float64(i)))})
		f.errors = append(f.errors, -0.05*float64(i))
	}
	d := trendOf([]Fold{f})
	if d == nil || d.Repeats != 5 || math.Abs(d.PerMonth+level.PerLn*0.05) > 1e-6 || d.warning() == "" {
		t.Errorf("got %+v", d)
	}
	for i := range f.cells {
		f.cells[i].Remount(func(m *cell.Mounting) { m.Set = fmt.Sprint("X", i) })
	}
	if d := trendOf([]Fold{f}); d != nil {
		t.Errorf("other strings each time: got %+v", d)
	}
}

// A pickup that was captured very often is compared by means of some of its sessions, and
// tells the same drift.
func TestDriftIsToldFromManyRepeats(t *testing.T) {
	var f Fold
	for i := range 5 * mostCompared {
		months := float64(i) / 100
		f.cells = append(f.cells, cell.Cell{Mounting: &cell.Mounting{Pickup: "P", Session: fmt.Sprint("s", i), Set: "X"}, StringHeight: 3, First: cell.InstantOf(monthsOn(months))})
		f.errors = append(f.errors, -0.05*months)
	}
	for _, block := range f.repeats() {
		if slopes, _ := comparePairs([][]timedError{thinned(block)}); len(slopes) > mostCompared*mostCompared/2 {
			t.Errorf("%d pairs of %d sessions are compared", len(slopes), len(block))
		}
	}
	if d := trendOf([]Fold{f}); d == nil || d.Repeats != 5*mostCompared-1 || math.Abs(d.PerMonth+level.PerLn*0.05) > 1e-6 || d.P > 1e-6 {
		t.Errorf("got %+v", d)
	}
}

// Without drift, a warning comes no oftener than it says.
func TestDriftSeldomCriesWolf(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 12))
	const records = 4000
	alarms := 0
	for range records {
		misses := make([]float64, 9)
		for i := range misses {
			misses[i] = rng.NormFloat64()
		}
		if trendOf(watched(misses...)).warning() != "" {
			alarms++
		}
	}
	if limit := trendWarningP*records + 3*math.Sqrt(trendWarningP*records); float64(alarms) > limit || alarms == 0 {
		t.Errorf("%d alarms in %d records, want some and at most %.0f", alarms, records, limit)
	}
}

// A jig whose gain creeps up is found in a whole fit, with the dB per month that
// went in.
func TestFitFindsDrift(t *testing.T) {
	w := truth{pole: 0.45, core: 1.1, lift: -0.5, noise: 0.05}
	d := &cell.Data{Cells: w.cells(rand.New(rand.NewPCG(1, 9)), 20)}
	const perMonth = 0.1 // ln v
	for i, p := range d.Pickups() {
		for j := range d.Cells {
			if c := &d.Cells[j]; c.Pickup == p {
				c.First = cell.InstantOf(monthsOn(float64(i)))
				c.Mean += perMonth * float64(i)
			}
		}
	}
	r, err := measuredAs(d, logHeight.name)
	if err != nil {
		t.Fatal(err)
	}
	if r.Drift == nil || r.Drift.PerMonth < 0.8*level.PerLn*perMonth || r.Drift.PerMonth > 1.2*level.PerLn*perMonth {
		t.Errorf("got %+v, want %.2f dB per month", r.Drift, level.PerLn*perMonth)
	}
	if notes := strings.Join(r.Warnings, "\n"); !strings.Contains(notes, "levels drift") {
		t.Errorf("got %s", notes)
	}
}
