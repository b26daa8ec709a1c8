package solve

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
)

func TestRobustMeanOfFewValues(t *testing.T) {
	for _, c := range []struct {
		name     string
		values   []float64
		mean, sd float64
	}{
		{"one value", []float64{2}, 2, 0},
		{"two values", []float64{3, 1}, 2, math.Sqrt2}, // the plain mean and deviation: nothing is clipped
		{"all equal", []float64{5, 5, 5}, 5, 0},
		{"symmetric", []float64{-1, 1, 0}, 0, 1},
	} {
		mean, sd := RobustMean(c.values)
		if math.Abs(mean-c.mean) > 1e-12 || math.Abs(sd-c.sd) > 1e-12 {
			t.Errorf("%s: got %g, %g, want %g, %g", c.name, mean, sd, c.mean, c.sd)
		}
	}
}

func TestRobustMeanWithstandsStrayTakes(t *testing.T) {
	// Ten takes, of which two were struck twice: 6 dB too loud.
	values := []float64{1.00, 1.02, 0.98, 1.01, 0.99, 1.03, 0.97, 1.00, 1.69, 1.70}
	plain := stat.Mean(values, nil)
	mean, _ := RobustMean(values)
	if plain < 1.1 || mean > 1.03 {
		t.Errorf("robust mean %.3f (plain %.3f), want it within 0.03 of 1.00", mean, plain)
	}
	// More than half equal, as with a coarse display.
	if mean, _ := RobustMean([]float64{1, 1, 1, 1, 1.1}); mean < 1 || mean > 1.03 {
		t.Errorf("ties: got %.3f, want just above 1", mean)
	}
}

// A second formula: the mean at which the clipped distances balance, by halving
// an interval.
func TestRobustMeanMatchesBisection(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	for range 200 {
		values := make([]float64, 3+rng.IntN(20))
		for i := range values {
			values[i] = rng.NormFloat64()
			if rng.IntN(5) == 0 {
				values[i] *= 10
			}
		}
		mean, _ := RobustMean(values)
		scale := MADScale * MedianDistance(values, Median(values))
		lo, hi := values[0], values[len(values)-1]
		for range 100 {
			mid := (lo + hi) / 2
			var pull float64
			for _, v := range values {
				pull += math.Max(-1.345*scale, math.Min(1.345*scale, v-mid))
			}
			if pull > 0 {
				lo = mid
			} else {
				hi = mid
			}
		}
		if math.Abs(mean-lo) > 1e-9 {
			t.Fatalf("%v: got %g, bisection %g", values, mean, lo)
		}
	}
}

// Many values reach the 95 % that Huber's clip promises; ten takes, whose scale
// is itself uncertain, a little less (0.93 was seen). The stated standard error is the true one.
func TestRobustMeanEfficiency(t *testing.T) {
	for _, c := range []struct {
		n          int
		efficiency float64
		slack      float64
	}{{10, 0.93, 0.03}, {200, 0.95, 0.02}} {
		rng := rand.New(rand.NewPCG(11, uint64(c.n)))
		const trials = 20000
		var square, stated float64
		for range trials {
			values := make([]float64, c.n)
			for i := range values {
				values[i] = rng.NormFloat64()
			}
			mean, sd := RobustMean(values)
			square += mean * mean / trials
			stated += sd * sd / float64(c.n) / trials
		}
		efficiency := 1 / float64(c.n) / square
		t.Logf("%d values: efficiency %.3f, stated over true variance %.3f", c.n, efficiency, stated/square)
		if math.Abs(efficiency-c.efficiency) > c.slack {
			t.Errorf("%d values: efficiency %.3f, want %.2f within %.2f", c.n, efficiency, c.efficiency, c.slack)
		}
		if r := stated / square; r < 0.9 || r > 1.15 {
			t.Errorf("%d values: stated variance is %.2f of the true one", c.n, r)
		}
	}
}
