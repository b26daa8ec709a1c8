package solve

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// certified is a linear set of NIST StRD (see testdata/README.md).
type certified struct {
	Intercept  bool
	DataFile   string `json:"data_file"`
	ResidualSD string `json:"residual_sd"`
	Parameters []struct{ Estimate, SD string }
}

func readCertified(t *testing.T) map[string]certified {
	t.Helper()
	text, err := os.ReadFile("../../testdata/published/nist/certified.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Linear map[string]certified }
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	return file.Linear
}

// design returns the matrix of a set: a constant where there is one, then
// x1, x2, ... or the powers of x.
func (c certified) design(t *testing.T) (*mat.Dense, []float64) {
	t.Helper()
	tb := readTable(t, published, "nist", c.DataFile)
	y := tb.floats(t, "y")
	x := mat.NewDense(len(y), len(c.Parameters), nil)
	first := 1
	if c.Intercept {
		first = 0
	}
	for j := range c.Parameters {
		for i := range y {
			power := first + j
			switch {
			case power == 0:
				x.Set(i, j, 1)
			case tb["x1"] != nil:
				x.Set(i, j, tb.floats(t, "x"+strconv.Itoa(power))[i])
			default:
				x.Set(i, j, math.Pow(tb.floats(t, "x")[i], float64(power)))
			}
		}
	}
	return x, y
}

// agree is the number of digits that agree: the log relative error, or
// the log absolute error where the certified value is 0; 15 at most.
func agree(t *testing.T, got float64, certified string) float64 {
	t.Helper()
	want, err := strconv.ParseFloat(certified, 64)
	if err != nil {
		t.Fatal(err)
	}
	scale := math.Abs(want)
	if want == 0 {
		scale = 1
	}
	return math.Min(15, -math.Log10(math.Abs(got-want)/scale))
}

// The floors are the digits reached, rounded down: a change that loses one is
// to be noticed.
func TestLinearReachesCertifiedDigits(t *testing.T) {
	floors := map[string]float64{
		"Norris": 12, "Pontius": 12, "NoInt1": 14, "NoInt2": 14,
		"Longley": 12, "Wampler1": 12, "Wampler2": 12, "Wampler3": 12,
	}
	sets := readCertified(t)
	for name, floor := range floors {
		set, ok := sets[name]
		if !ok {
			t.Fatalf("%s is not among the certified sets", name)
		}
		x, y := set.design(t)
		f, err := Linear(x, y)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		b, se := 15.0, 15.0
		for j, p := range set.Parameters {
			b = math.Min(b, agree(t, f.B[j], p.Estimate))
			se = math.Min(se, agree(t, f.SD(0)*math.Sqrt(f.Cov.At(j, j)), p.SD))
		}
		sd := agree(t, f.SD(0), set.ResidualSD)
		t.Logf("%-9s digits: estimates %.1f, standard deviations %.1f, residual %.1f", name, b, se, sd)
		if least := min(b, se, sd); least < floor {
			t.Errorf("%s: %.1f digits, want at least %g", name, least, floor)
		}
	}
}

// The same by the plain normal equations in a matrix inverse, which is
// good enough for columns that are nearly orthogonal.
func TestLinearMatchesNormalEquations(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	x := mat.NewDense(40, 3, nil)
	y := make([]float64, 40)
	for i := range y {
		x.SetRow(i, []float64{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()})
		y[i] = rng.NormFloat64()
	}
	f, err := Linear(x, y)
	if err != nil {
		t.Fatal(err)
	}
	var xtx, inv mat.Dense
	xtx.Mul(x.T(), x)
	if err := inv.Inverse(&xtx); err != nil {
		t.Fatal(err)
	}
	var xty, b mat.VecDense
	xty.MulVec(x.T(), mat.NewVecDense(len(y), y))
	b.MulVec(&inv, &xty)
	for j := range 3 {
		if d := math.Abs(b.AtVec(j) - f.B[j]); d > 1e-13 {
			t.Errorf("estimate %d differs by %g", j, d)
		}
		if d := math.Abs(inv.At(j, j) - f.Cov.At(j, j)); d > 1e-13 {
			t.Errorf("covariance %d differs by %g", j, d)
		}
		if g := math.Abs(mat.Dot(x.ColView(j), mat.NewVecDense(len(y), f.R))); g > 1e-13 {
			t.Errorf("residuals are not orthogonal to column %d: %g", j, g)
		}
	}
}

func TestLinearNamesDependentColumn(t *testing.T) {
	x := mat.NewDense(4, 3, []float64{1, 2, 3, 1, 5, 6, 1, 7, 8, 1, 9, 10})
	_, err := Linear(x, []float64{1, 2, 3, 4})
	var rank *RankError
	if !errors.As(err, &rank) || rank.Column != 2 {
		t.Errorf("got %v, want column 2 named: it is the sum of the others", err)
	}
	_, err = Linear(mat.NewDense(3, 1, nil), []float64{1, 2, 3})
	if !errors.As(err, &rank) || rank.Column != 0 {
		t.Errorf("got %v, want column 0 named: it is empty", err)
	}
	if _, err := Linear(mat.NewDense(1, 2, []float64{1, 2}), []float64{1}); err == nil {
		t.Error("one observation for two columns: want an error")
	}
}

func TestLinearExactFitLeavesNoDeviation(t *testing.T) {
	f, err := Linear(mat.NewDense(2, 2, []float64{1, 0, 1, 1}), []float64{1, 2})
	if err != nil {
		t.Fatal(err)
	}
	if f.SD(0) != 0 || f.B[0] != 1 || f.B[1] != 1 {
		t.Errorf("got %v, sd %g; want 1, 1 and 0", f.B, f.SD(0))
	}
}
