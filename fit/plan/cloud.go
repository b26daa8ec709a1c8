package plan

import (
	"math"
	"slices"
	"sync"
)

// cloud is what chance adds to the deviations of built pickups, in dB: a row of
// n strings for each pickup.
type cloud struct {
	n  int
	at []float64
}

// cloud builds count pickups with these heights under one string set, for
// comparing others with: behind each pickup comes its mirror image, so that few
// of them do not lean to one side.
func (j *job) cloud(b *bed, heights []float64, count int) (cloud, error) {
	root, err := b.root(heights, b.slopes(heights), j.opt.SettingSD)
	if err != nil {
		return cloud{}, err
	}
	half := newCloud(root, j.points, (count+1)/2)
	c := cloud{half.n, make([]float64, 0, 2*len(half.at))}
	for row := half.at; len(row) > 0; row = row[c.n:] {
		c.at = append(c.at, row[:c.n]...)
		for _, x := range row[:c.n] {
			c.at = append(c.at, -x)
		}
	}
	return c, nil
}

// cloudsOf builds pickups under every string set.
func (j *job) cloudsOf(heights []float64, count int) ([]cloud, error) {
	var clouds []cloud
	for _, b := range j.beds {
		c, err := j.cloud(b, heights, min(count, j.opt.Draws))
		if err != nil {
			return nil, err
		}
		clouds = append(clouds, c)
	}
	return clouds, nil
}

// newCloud carries the first count standard normal points through the root of a
// covariance.
func newCloud(root, points []float64, count int) cloud {
	n := int(math.Sqrt(float64(len(root))))
	c := cloud{n, make([]float64, count*n)}
	for d := range count {
		z, row := points[d*n:(d+1)*n], c.at[d*n:(d+1)*n]
		for i := range row {
			for k, v := range root[i*n : (i+1)*n] {
				row[i] += v * z[k]
			}
		}
	}
	return c
}

// worst is the mean of each pickup's worst deviation. When that exceeds the
// ceiling, what is returned only exceeds it too.
//
// Over pickups and their mirror images it is never less than the worst of the mean
// deviations, a convex function of them (Jensen's inequality). That therefore
// stands for what has not been looked at yet.
func (c cloud) worst(deviation []float64, ceiling float64) float64 {
	least, count := max(slices.Max(deviation), -slices.Min(deviation)), len(c.at)/c.n
	sum, most := 0.0, ceiling*float64(count)
	for k, row := 0, c.at; len(row) > 0; k, row = k+1, row[c.n:] {
		if rest := least * float64(count-k); k%2 == 0 && sum+rest > most {
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
func (c cloud) simulate(deviation []float64) (spreads, worst []float64) {
	count := len(c.at) / c.n
	spreads, worst = make([]float64, count), make([]float64, count)
	for k := range spreads {
		lo, hi := math.Inf(1), math.Inf(-1)
		for i, x := range deviation {
			if x += c.at[k*c.n+i]; x < lo { // min and max take twice the time here
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

// meets is the share of pickups with every string within tolerance.
func (c cloud) meets(deviation []float64, tolerance float64) float64 {
	met := 0
	for row := c.at; len(row) > 0; row = row[c.n:] {
		within := true
		for i := 0; i < len(deviation) && within; i++ {
			within = math.Abs(deviation[i]+row[i]) <= tolerance
		}
		if within {
			met++
		}
	}
	return float64(met) / float64(len(c.at)/c.n)
}

// primes span the points of as many strings as a jig can have.
var primes = [...]float64{2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37}

// normalPoints are count points in n dimensions that fill the standard normal
// distribution evenly, row by row: multiples of the roots of primes, folded
// (Richtmyer's rule with the baker's transformation, as in A. Genz and F. Bretz,
// Computation of Multivariate Normal and t Probabilities, 2009; cited from
// memory). There is no chance in them, so that the same figures come out every
// time. Nobody writes to them: orders share them.
func normalPoints(count, n int) []float64 {
	shape := [2]int{count, n}
	points, ok := pointsOf.Load(shape)
	if !ok {
		points, _ = pointsOf.LoadOrStore(shape, fillNormal(count, n))
	}
	return points.([]float64)
}

// pointsOf keeps the points of each count and dimension: they take a tenth of a
// plan's time.
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
