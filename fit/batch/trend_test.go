package batch

import (
	"math"
	"math/rand/v2"
	"testing"
)

// score is Kendall's, done slowly.
func score(x []float64) float64 {
	s := 0
	for j := range x {
		for i := range j {
			s += sign(x[j] - x[i])
		}
	}
	return float64(s)
}

// orders calls f with every order of x.
func orders(x []float64, f func([]float64)) {
	var walk func(int)
	walk = func(k int) {
		if k == len(x) {
			f(x)
			return
		}
		for i := k; i < len(x); i++ {
			x[k], x[i] = x[i], x[k]
			walk(k + 1)
			x[k], x[i] = x[i], x[k]
		}
	}
	walk(0)
}

// The variance against that over all orders, ties or none.
func TestKendallVariance(t *testing.T) {
	for _, x := range [][]float64{{1, 2, 3, 4, 5, 6, 7}, {1, 1, 2, 3, 3, 3, 4}, {2, 2, 2}} {
		var sum, n float64
		orders(x, func(o []float64) { sum += score(o) * score(o); n++ })
		near(t, "variance", kendallVariance(x), sum/n, 1e-12)
	}
}

// exact is the chance of a score as large in size as s, over all orders of n
// values without ties: counted by how many inversions each further value adds.
func exact(n int, s float64) float64 {
	count := []float64{1}
	for m := 2; m <= n; m++ {
		next := make([]float64, len(count)+m-1)
		for i, c := range count {
			for j := range m {
				next[i+j] += c
			}
		}
		count = next
	}
	var all, far float64
	for inversions, c := range count {
		all += c
		if math.Abs(float64(len(count)-1-2*inversions)) >= math.Abs(s) {
			far += c
		}
	}
	return far / all
}

func TestTrendAgainstExact(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for _, n := range []int{10, 18, 40} {
		for range 20 {
			x := normals(r, n, 0, 1)
			for i := range x {
				x[i] += 0.05 * float64(i)
			}
			if got, want := trendOf(x, 0.05).P, exact(n, score(x)); math.Abs(got-want) > 0.011 {
				t.Errorf("n %d: p %.4f, want %.4f", n, got, want)
			}
		}
	}
}

func TestTrendSlope(t *testing.T) {
	x := []float64{0, 1, 2, 3, 400, 5, 6, 7, 8, 9, 10}
	got := trendOf(x, 0.05)
	if got.Slope != 1 || got.Across != 10 || !got.Drifts {
		t.Errorf("got %+v, want a slope of 1 whatever the odd one is", got)
	}
	flat := trendOf([]float64{3, 3, 3, 3}, 0.05)
	if flat.P != 1 || flat.Drifts || flat.Slope != 0 {
		t.Errorf("equal values: got %+v", flat)
	}
}
