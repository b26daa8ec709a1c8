package verdict

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// table reads a CSV file of testdata without its header.
func table(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.10g, want %.10g", what, got, want)
	}
}

// Three strings of 2, 3 and 2 takes. By hand: means 1, 4, 7; squares 2, 2, 8
// about them, 12 over 1+2+1 = 4 degrees of freedom, so 3 dB² a take; u² of the
// levels 3/2, 1, 3/2. Balance of string 1: 4/9·3/2 + 1/9·1 + 1/9·3/2 = 17/18.
// With 0.09 dB² allowed each, 2/3·0.09 = 0.06 more: 1.00444 in all, with
// 4·(1.00444/0.94444)² = 4.52438 degrees of freedom.
func TestBudgetByHand(t *testing.T) {
	b := newBudget([][]float64{{0, 2}, {3, 4, 5}, {5, 9}}, 0.09)
	p := b.balance(0)
	near(t, "variance of a take", b.variance[0], 3, 1e-12)
	near(t, "variance of the balance", p.Variance, 17.0/18+0.06, 1e-12)
	near(t, "degrees of freedom", p.DOF, 4.52438, 1e-5)
}

// The closed form of a balance's variance, (1-2/n)u_i² + sum u_j²/n², and the
// same by the full matrix of sensitivities C: C·diag(u²)·Cᵀ.
func TestBalanceVarianceSlowly(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for n := 1; n <= 12; n++ {
		levels := make([][]float64, n)
		for i := range levels {
			levels[i] = normal(r, 0, 0.4, 2+r.IntN(12))
		}
		b := newBudget(levels, 0.02)
		c, u2 := mat.NewDense(n, n, nil), mat.NewDiagDense(n, nil)
		var sum float64
		for i := range n {
			for j := range n {
				c.Set(i, j, -1/float64(n))
			}
			c.Set(i, i, 1-1/float64(n))
			u2.SetDiag(i, b.variance[i]/float64(b.takes[i])+0.02)
			sum += u2.At(i, i)
		}
		var cov mat.Dense
		cov.Product(c, u2, c.T())
		for i := range n {
			near(t, "matrix", b.balance(i).Variance, cov.At(i, i), 1e-12)
			closed := (1-2/float64(n))*u2.At(i, i) + sum/float64(n*n)
			if n > 1 {
				near(t, "closed form", b.balance(i).Variance, closed, 1e-12)
			}
		}
	}
}

func TestBudgetWhoPools(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	few := [][]float64{normal(r, 0, 0.3, 6), normal(r, 1, 0.3, 6), normal(r, 2, 0.3, 20)}
	if b := newBudget(few, 0.02); b.own[0] || b.own[1] || b.own[2] {
		t.Errorf("few takes of some: own %v, want all pooled", b.own)
	}
	many := [][]float64{normal(r, 0, 0.3, 10), normal(r, 1, 0.3, 12)}
	b := newBudget(many, 0.02)
	if !b.own[0] || !b.own[1] {
		t.Errorf("many takes of all: own %v, want all alone", b.own)
	}
	near(t, "own variance", b.variance[1], stat.Variance(many[1], nil), 1e-15)
	loose := [][]float64{normal(r, 0, 0.3, 6), normal(r, 1, 3, 6), normal(r, 2, 0.3, 6)}
	if b := newBudget(loose, 0.02); b.own[0] || !b.own[1] || b.own[2] {
		t.Errorf("a loose string: own %v, want the second alone", b.own)
	}
}

// normal draws n values.
func normal(r *rand.Rand, mean, sd float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = mean + sd*r.NormFloat64()
	}
	return out
}

// U must cover the true balance as often as it says, with the allowance's error
// drawn too: 0.95 +- 0.012 is more than three standard errors of 4000 draws.
// Few takes a string is where the effective degrees of freedom matter.
func TestExpandedCovers(t *testing.T) {
	const draws, n = 4000, 6
	for _, takes := range []int{2, 3, 12} {
		r := rand.New(rand.NewPCG(5, uint64(takes)))
		covered := 0
		for range draws {
			levels := make([][]float64, n)
			means := make([]float64, n)
			for i := range levels {
				levels[i] = normal(r, 0.15*r.NormFloat64(), 0.4, takes)
				means[i] = stat.Mean(levels[i], nil)
			}
			b := newBudget(levels, 0.15*0.15)
			_, _, expanded := b.balance(2).Expand(0.95)
			if math.Abs(means[2]-stat.Mean(means, nil)) <= expanded {
				covered++
			}
		}
		near(t, strconv.Itoa(takes)+" takes", float64(covered)/draws, 0.95, 0.012)
	}
}
