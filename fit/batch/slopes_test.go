package batch

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// plainMedian is the median slope, of all slopes in order.
func plainMedian(x []float64) float64 {
	var all []float64
	for j := range x {
		for i := range j {
			all = append(all, (x[j]-x[i])/float64(j-i))
		}
	}
	slices.Sort(all)
	n := len(all)
	return (all[(n-1)/2] + all[n/2]) / 2
}

// Slopes of many values are told to the last digit, ties or none.
func TestMedianSlope(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	for _, n := range []int{2, 3, 10, 41, 600, 1501} {
		for name, value := range map[string]func(i int) float64{
			"normal":   func(int) float64 { return 300 + 9*r.NormFloat64() },
			"rising":   func(i int) float64 { return 300 + 0.01*float64(i) + r.NormFloat64() },
			"falling":  func(i int) float64 { return 300 - 2*float64(i) + r.NormFloat64() },
			"hundreds": func(int) float64 { return 100 * math.Round(3+0.4*r.NormFloat64()) },
			"whole":    func(i int) float64 { return math.Round(300 + 0.05*float64(i) + 3*r.NormFloat64()) },
			"two":      func(i int) float64 { return float64(i / (n/2 + 1)) },
			"outliers": func(i int) float64 { return float64(i*i%7) + 1e9*float64(i%100/99) },
		} {
			x := make([]float64, n)
			for i := range x {
				x[i] = value(i)
			}
			s := newSlopes(x)
			if got, want := s.median(), plainMedian(x); got != want {
				t.Errorf("%d %s values: median slope %v, want %v", n, name, got, want)
			}
			if got, want := s.score(), int(score(x)); got != want {
				t.Errorf("%d %s values: score %d, want %d", n, name, got, want)
			}
		}
	}
}

// Of values on a line all slopes are the same but for rounding, and are not all worked out.
func TestMedianSlopeOfALine(t *testing.T) {
	x := make([]float64, 20000)
	for i := range x {
		x[i] = 250 + 0.1*float64(i)
	}
	s := newSlopes(x)
	near(t, "slope", s.median(), 0.1, 1e-10)
	if cap(s.near) > 100*len(x) {
		t.Errorf("%d slopes were worked out of %d values", cap(s.near), len(x))
	}
}

func BenchmarkTrend(b *testing.B) {
	for _, n := range []int{1_000, 10_000, 100_000} {
		x := normals(rand.New(rand.NewPCG(1, 2)), n, 300, 9)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				trendOf(x, 0.05)
			}
		})
	}
}
