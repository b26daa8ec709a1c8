package batch

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenpole/capture/record"
	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/level"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
)

// NIST/SEMATECH e-Handbook, section 1.3.5.3, miles per gallon of two countries'
// cars: 249 of mean 20.14458 and standard deviation 6.41470 beside 79 of 30.48101
// and 6.10771; variances not taken as equal, T = -12.94627 at 136.8750 degrees of
// freedom (from memory). Values made to have these moments stand for the data.
func TestWelch(t *testing.T) {
	r := rand.New(rand.NewPCG(25, 26))
	made := func(n int, mean, sd float64) []float64 {
		x := normals(r, n, 0, 1)
		m, s := stat.MeanStdDev(x, nil)
		floats.AddConst(-m, x)
		floats.Scale(sd/s, x)
		floats.AddConst(mean, x)
		return x
	}
	d := difference(made(249, 20.14458, 6.41470), made(79, 30.48101, 6.10771))
	near(t, "T", d.mean/d.se, -12.94627, 1e-6)
	near(t, "degrees of freedom", d.dof, 136.8750, 1e-6)
	if half := difference([]float64{1}, []float64{2, 3}).halfWidth(0.95); !math.IsNaN(half) {
		t.Errorf("one value: got %g, want NaN", half)
	}
}

// The interval of a ratio holds the truth as often as it says.
func TestRatioCovers(t *testing.T) {
	const trials = 2000
	r := rand.New(rand.NewPCG(27, 28))
	hits := 0
	for range trials {
		a, b := normals(r, 8, 240, 12), normals(r, 15, 200, 4)
		d := difference(logStrengths(magnetsOf(a...)), logStrengths(magnetsOf(b...)))
		if math.Abs(d.mean-math.Log(1.2)) <= d.halfWidth(0.9) {
			hits++
		}
	}
	covers(t, "ratio", hits, trials, 0.9)
}

// A batch whose readings are another's times a number is stronger by that.
func TestBesideAScaledBatch(t *testing.T) {
	var rows []record.FieldReading
	for i, x := range []float64{200, 210, 190, 205} {
		f := take("s", string(rune('a'+i)), x, 0.5)
		g := f
		g.Batch, g.Field = "squall", -1.1*x
		rows = append(rows, f, g)
	}
	got, err := recordOf(t, rows...).Characterise("squall", Options{})
	if err != nil {
		t.Fatal(err)
	}
	c := got.Others[0]
	near(t, "percent", c.Percent, 10, 1e-12)
	near(t, "dB", c.DB, 20*math.Log10(1.1), 1e-12)
	if !c.Reference || !c.Turned || c.Within.Low >= 10 || c.Within.High <= 10 {
		t.Errorf("got %+v", c)
	}
}

// fixed is a model that expects the same level everywhere.
type fixed struct {
	fit.Model
	pickupSD level.Ln // 0: it knows none
}

func (f fixed) PickupSD() (sd level.Ln, ok bool) { return f.pickupSD, f.pickupSD != 0 }
func (f fixed) Expect(cells []cell.Cell) []float64 {
	out := make([]float64, len(cells))
	for i := range out {
		out[i] = 2
	}
	return out
}

func TestCompare(t *testing.T) {
	of := func(pickup, batch string, mean float64) cell.Cell {
		return cell.Cell{Mounting: &cell.Mounting{Pickup: pickup, Batch: batch}, Mean: mean}
	}
	d := &cell.Data{Cells: []cell.Cell{of("P1", "gale", 2.1), of("P1", "gale", 2.3), of("P2", "squall", 1.9), of("P3", "squall", 1.7)}}
	m := fixed{pickupSD: 0.1}
	l, ok := Compare(d, m, "gale", "squall", 0.95)
	if !ok {
		t.Fatal("no comparison")
	}
	db := 20 / math.Ln10
	near(t, "dB", l.DB, 0.4*db, 1e-12)
	near(t, "half", l.Within.High-l.DB, 1.959963985*0.1*db*math.Sqrt(1.5), 1e-8)
	if l.Pickups != 1 || l.Reference != 2 {
		t.Errorf("got %+v", l)
	}
	for _, c := range []struct {
		model fixed
		batch string
	}{{fixed{}, "gale"}, {m, "breeze"}, {m, "squall"}} {
		if _, ok := Compare(d, c.model, c.batch, "squall", 0.95); ok {
			t.Errorf("%q: a comparison where there can be none", c.batch)
		}
	}
}
