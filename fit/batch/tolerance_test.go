package batch

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// near fails unless got is within a relative tolerance of want.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Max(1e-300, math.Abs(want))) {
		t.Errorf("%s: got %.12g, want %.12g", what, got, want)
	}
}

// records reads a CSV file without its header.
func records(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s: %d rows, %v", name, len(rows), err)
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

// The factors of testdata/README.md, computed outside this program to ten digits.
func TestFactorsAgainstReference(t *testing.T) {
	checked := 0
	for _, row := range records(t, "testdata/tolerance_k_factors.csv") {
		n, share, confidence, want := int(number(t, row[1])), number(t, row[2]), number(t, row[3]), number(t, row[6])
		var got float64
		switch {
		case strings.HasPrefix(row[4], "two-sided k2 (exact"):
			got = TwoSided(n, share, confidence)
		case strings.HasPrefix(row[4], "one-sided k1 (exact"):
			got = OneSided(n, share, confidence)
		case strings.HasPrefix(row[4], "two-sided k2 (Howe"):
			got = TwoSidedApprox(n, share, confidence)
		default:
			continue
		}
		checked++
		near(t, strings.Join(row[1:5], " "), got, want, 1e-9)
	}
	if checked < 180 {
		t.Errorf("checked %d factors only", checked)
	}
}

// NIST/SEMATECH e-Handbook, section 7.2.6.3: 43 wafers of mean 97.07 and standard
// deviation 0.0268, 90 % at 99 % confidence: 97.010576 to 97.12942.
func TestHandbookInterval(t *testing.T) {
	k := TwoSidedApprox(43, 0.90, 0.99)
	near(t, "lower", 97.07-k*0.0268, 97.010576, 1e-8)
	near(t, "upper", 97.07+k*0.0268, 97.12942, 1e-7)
}

// The same by gonum's noncentral t (algorithm AS 243), low confidences too, at
// which the factor may be negative.
func TestOneSidedIsNoncentralT(t *testing.T) {
	for _, n := range []int{2, 3, 7, 30, 100} {
		for _, share := range []float64{0.6, 0.9, 0.99} {
			for _, confidence := range []float64{0.01, 0.05, 0.5, 0.95} {
				root := math.Sqrt(float64(n))
				delta := root * distuv.UnitNormal.Quantile(share)
				k := OneSided(n, share, confidence)
				got := distuv.NoncentralT{Nu: float64(n - 1), Mu: delta}.CDF(k * root)
				if math.Abs(got-confidence) > 1e-6 {
					t.Errorf("n %d, share %g: the chance of k = %.6f is %.8f, want %g", n, share, k, got, confidence)
				}
			}
		}
	}
}

// normals are seeded draws from a normal distribution.
func normals(r *rand.Rand, n int, mean, sd float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = mean + sd*r.NormFloat64()
	}
	return out
}

// covers fails unless a share of trials differs from its chance by no more than
// four standard errors.
func covers(t *testing.T, what string, hits, trials int, want float64) {
	t.Helper()
	got := float64(hits) / float64(trials)
	if e := math.Sqrt(want * (1 - want) / float64(trials)); math.Abs(got-want) > 4*e {
		t.Errorf("%s: %.4f of %d trials, want %.4f within %.4f", what, got, trials, want, 4*e)
	}
}

func TestTolerancesCover(t *testing.T) {
	const trials, n, share, confidence = 20000, 8, 0.9, 0.8
	r := rand.New(rand.NewPCG(1, 2))
	k2, k1 := TwoSided(n, share, confidence), OneSided(n, share, confidence)
	two, one := 0, 0
	for range trials {
		mean, sd := stat.MeanStdDev(normals(r, n, 0, 1), nil)
		if distuv.UnitNormal.CDF(mean+k2*sd)-distuv.UnitNormal.CDF(mean-k2*sd) >= share {
			two++
		}
		if distuv.UnitNormal.CDF(mean+k1*sd) >= share {
			one++
		}
	}
	covers(t, "two-sided", two, trials, confidence)
	covers(t, "one-sided", one, trials, confidence)
}

// Shares of a half and less make factors below 1, for which no negative factor is a
// bound: the chance depends on the factor's square.
func TestSmallSharesCover(t *testing.T) {
	const trials = 20000
	r := rand.New(rand.NewPCG(3, 4))
	for _, c := range []struct {
		n                 int
		share, confidence float64
	}{{2, 0.5, 0.95}, {12, 0.5, 0.95}, {8, 0.5, 0.2}, {5, 0.02, 0.3}, {18, 0.3, 0.05}} {
		k, hits := TwoSided(c.n, c.share, c.confidence), 0
		for range trials {
			mean, sd := stat.MeanStdDev(normals(r, c.n, 0, 1), nil)
			if distuv.UnitNormal.CDF(mean+k*sd)-distuv.UnitNormal.CDF(mean-k*sd) >= c.share {
				hits++
			}
		}
		covers(t, fmt.Sprintf("%+v, k = %.4f", c, k), hits, trials, c.confidence)
	}
}

// Every share and confidence that is taken has a factor, larger for more of either;
// what lies beyond has one or is NaN.
func TestEveryFactorEnds(t *testing.T) {
	sides := map[string]func(int, float64, float64) float64{"two": TwoSided, "one": OneSided}
	shares := []float64{leastShare, 1e-3, 0.05, 0.5, 0.95, 0.9999, mostShare}
	for side, factor := range sides {
		for _, n := range []int{2, 3, 20, 1000} {
			for i, share := range shares {
				for j, confidence := range shares {
					k := factor(n, share, confidence)
					if math.IsNaN(k) || math.IsInf(k, 0) || side == "two" && k <= 0 {
						t.Errorf("%s sides, n %d, share %g, confidence %g: %g", side, n, share, confidence, k)
					}
					if i > 0 && k < factor(n, shares[i-1], confidence) || j > 0 && k < factor(n, share, shares[j-1]) {
						t.Errorf("%s sides, n %d, share %g, confidence %g: %g is below that of less", side, n, share, confidence, k)
					}
				}
			}
		}
		for _, beyond := range []float64{0, 1e-300, 1 - 1e-16, 1, math.NaN()} {
			factor(5, beyond, 0.95)
			factor(5, 0.95, beyond)
		}
	}
}
