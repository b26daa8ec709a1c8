package plan

import (
	"math"
	"slices"
	"sync"
)

// sample is a quasi-Monte Carlo sample of simulated pickups: the random part of
// each one's deviations, dB, a row of n strings for each pickup.
type sample struct {
	n    int
	rows []float64
}

// newSample multiplies the first count standard normal points by the root of a
// covariance.
func newSample(root, points []float64, count int) sample {
	n := int(math.Sqrt(float64(len(root))))
	s := sample{n, make([]float64, count*n)}
	for d := range count {
		z, row := points[d*n:(d+1)*n], s.rows[d*n:(d+1)*n]
		for i := range row {
			for k, v := range root[i*n : (i+1)*n] {
				row[i] += v * z[k]
			}
		}
	}
	return s
}

// meanWorst is the mean over the pickups of each one's worst deviation, dB. It
// stops early when the mean must exceed the ceiling, and then returns a lower
// bound that exceeds the ceiling too.
//
// The worst deviation is a convex function of the deviations. So over pickups and
// their mirror images its mean is never less than the worst of the mean deviations
// (Jensen's inequality), which bounds the pickups not looked at yet.
func (s sample) meanWorst(deviation []float64, ceiling float64) float64 {
	bound, count := max(slices.Max(deviation), -slices.Min(deviation)), len(s.rows)/s.n
	sum, limit := 0.0, ceiling*float64(count)
	for k, row := 0, s.rows; len(row) > 0; k, row = k+1, row[s.n:] {
		if rest := bound * float64(count-k); k%2 == 0 && sum+rest > limit {
			return (sum + rest) / float64(count)
		}
		w := 0.0
		for i, x := range deviation {
			if x += row[i]; x > w { // math.Abs and max take twice the time here
				w = x
			} else if -x > w {
				w = -x
			}
		}
		sum += w
	}
	return sum / float64(count)
}

// simulate returns each pickup's spread and worst deviation, dB.
func (s sample) simulate(deviation []float64) (spreads, worst []float64) {
	count := len(s.rows) / s.n
	spreads, worst = make([]float64, count), make([]float64, count)
	for k := range spreads {
		lo, hi := math.Inf(1), math.Inf(-1)
		for i, x := range deviation {
			if x += s.rows[k*s.n+i]; x < lo { // min and max take twice the time here
				lo = x
			}
			if x > hi {
				hi = x
			}
		}
		spreads[k], worst[k] = hi-lo, max(hi, -lo)
	}
	return spreads, worst
}

// shareWithin is the share of pickups with every string within tolerance.
func (s sample) shareWithin(deviation []float64, tolerance float64) float64 {
	n := 0
	for row := s.rows; len(row) > 0; row = row[s.n:] {
		meets := true
		for i := 0; i < len(deviation) && meets; i++ {
			meets = math.Abs(deviation[i]+row[i]) <= tolerance
		}
		if meets {
			n++
		}
	}
	return float64(n) / float64(len(s.rows)/s.n)
}

// primes generate the points, one prime a string: as many as a jig can have.
var primes = [...]float64{2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37}

// normalPoints are count points in n dimensions that fill the standard normal
// distribution evenly, row by row: multiples of the roots of primes, folded
// (Richtmyer's rule with the baker's transformation, as in A. Genz and F. Bretz,
// Computation of Multivariate Normal and t Probabilities, 2009; cited from
// memory). They are not random, so that the same figures come out every time.
// Callers share them and must not write to them.
func normalPoints(count, n int) []float64 {
	shape := [2]int{count, n}
	points, ok := pointsOf.Load(shape)
	if !ok {
		points, _ = pointsOf.LoadOrStore(shape, fillNormal(count, n))
	}
	return points.([]float64)
}

// pointsOf caches the points by count and dimension: to make them takes a tenth of
// a plan's time.
var pointsOf sync.Map

func fillNormal(count, n int) []float64 {
	points := make([]float64, 0, count*n)
	for d := 1; d <= count; d++ {
		for _, p := range primes[:n] {
			_, f := math.Modf(float64(d) * math.Sqrt(p))
			points = append(points, math.Sqrt2*math.Erfinv(2*math.Abs(2*f-1)-1))
		}
	}
	return points
}
