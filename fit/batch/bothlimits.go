package batch

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/interp"
	"gonum.org/v1/gonum/mathext"
)

// With a limit on either side, a share beyond them may lie on one side or on both, and the
// risk of the k method with k of one limit depends on how it is split. The factors here
// keep both risks for every split, by exact calculation.

// outside is the estimate without bias of least variance of the share beyond one
// limit that lies q standard deviations of n values from their mean (Lieberman
// and Resnikoff).
func outside(n int, q float64) float64 {
	m := float64(n)
	x := 0.5 - 0.5*q*math.Sqrt(m)/(m-1)
	return mathext.RegIncBeta(m/2-1, m/2-1, math.Min(1, math.Max(0, x)))
}

// acceptBoth is the least k, not below that of one limit, with which no split of the
// limiting share is accepted with more than the consumer's risk.
func acceptBoth(n int, one float64, r Risks) float64 {
	return factorFor(one, 1, r.Consumer, func(k float64) float64 {
		return newRegion(n, k, true).worst(r.Limiting, func(inside float64) float64 { return inside })
	})
}

// rejectBoth is the greatest k, not above that of one limit, with which no split of the
// acceptable share is rejected with more than the producer's risk.
func rejectBoth(n int, one float64, r Risks) float64 {
	return factorFor(one, -1, r.Producer, func(k float64) float64 {
		return newRegion(n, k, false).worst(r.Acceptable, func(inside float64) float64 { return 1 - inside })
	})
}

// factorFor goes from k upwards (way 1) or downwards (way -1) until a risk that falls on the
// way is a little less than given, as much as it can be off by.
func factorFor(k, way, most float64, risk func(k float64) float64) float64 {
	const slack = 5e-4 // of the risk
	most *= 1 - slack
	if risk(k) <= most {
		return k
	}
	near, far := 0.0, 0.01
	for risk(k+way*far) > most {
		if far > 100 {
			return math.NaN()
		}
		near, far = far, 2*far
	}
	return k + way*crossing(func(by float64) float64 { return most - risk(k+way*by) }, near, far, 1e-5)
}

// crossing is where a function that rises from below 0 to 0 or above between two places
// crosses, or up to a tolerance beyond that, by false position with halved ends (the
// Illinois rule: M. Dowell, P. Jarratt, A modified regula falsi method for computing the
// root of an equation, BIT 11, 168, 1971, from memory).
func crossing(f func(float64) float64, low, high, tolerance float64) float64 {
	below, above := f(low), f(high)
	for side := 0; high-low > tolerance; {
		at := high - above*(high-low)/(above-below)
		at = min(max(at, low+tolerance/2), high-tolerance/2)
		if v := f(at); v < 0 {
			if low, below = at, v; side < 0 {
				above /= 2
			}
			side = -1
		} else {
			if high, above = at, v; side > 0 {
				below /= 2
			}
			side = 1
		}
	}
	return high
}

// region is where mean and standard deviation of n values lie that the k method is content
// with, when the limits are -1 and 1: means no farther from 0 than a reach, which depends
// on the standard deviation.
type region struct {
	n     int
	most  float64               // standard deviation beyond which there is none
	reach interp.FritschButland // by t, where the standard deviation is most (1 - t^2)
}

// newRegion works the region out: the estimated share beyond both limits is at most that of
// one limit at k standard deviations; with distance, the mean is as far from both.
func newRegion(n int, k float64, distance bool) *region {
	const points = 60
	share := outside(n, k)
	r := &region{n: n, most: 1 / centreFactor(n, k, share, distance)}
	t, reach := make([]float64, points), make([]float64, points)
	for i := range t {
		t[i] = float64(i) / (points - 1)
		reach[i] = reachAt(n, k, share, r.most*(1-t[i]*t[i]), distance)
	}
	reach[0] = 0
	if err := r.reach.Fit(t, reach); err != nil {
		panic(err) // t rises
	}
	return r
}

// centreFactor is by how many standard deviations either limit must be away from a mean
// half-way between them.
func centreFactor(n int, k, share float64, distance bool) float64 {
	near := zeroFrom(n)
	if share > 0 {
		near = solve(func(q float64) float64 { return 1 - 2*outside(n, q) }, 0, 1-share)
	}
	if distance {
		return max(near, k)
	}
	return near
}

// zeroFrom is the distance in standard deviations from which outside is 0.
func zeroFrom(n int) float64 { return float64(n-1) / math.Sqrt(float64(n)) }

// reachAt is how far from 0 a mean may be at a standard deviation.
func reachAt(n int, k, share, sd float64, distance bool) float64 {
	if sd <= 0 {
		return 1
	}
	beyond := func(mean float64) float64 { return outside(n, (1-mean)/sd) + outside(n, (1+mean)/sd) }
	high := 1 - k*sd // the nearer limit alone allows no more
	if share == 0 {
		high = 1 - zeroFrom(n)*sd
		if distance {
			high = min(high, 1-k*sd)
		}
		return max(0, high)
	}
	if outside(n, (1+high)/sd) < 1e-9*share {
		return max(0, high)
	}
	if beyond(0) >= share {
		return 0
	}
	return crossing(func(mean float64) float64 { return beyond(mean) - share }, 0, high, 1e-8)
}

// chance is that of n values of a normal distribution to lie in the region.
func (r *region) chance(mean, sd float64) float64 {
	const points, wide = 120, 9
	nu, root := float64(r.n-1), math.Sqrt(float64(r.n))/sd
	width := wide / math.Sqrt(2*nu)
	t := func(s float64) float64 { return math.Sqrt(max(0, 1-s/r.most)) }
	logOne, _ := math.Lgamma(nu / 2)
	scale := math.Ln2 + nu/2*math.Log(nu/2) - logOne - math.Log(sd)
	return quad.Fixed(func(t float64) float64 {
		s := r.most * (1 - t*t)
		if s <= 0 {
			return 0
		}
		reach := r.reach.Predict(t)
		density := math.Exp(scale + (nu-1)*math.Log(s/sd) - nu*s*s/(sd*sd)/2)
		return 2 * r.most * t * density * (standardNormal.CDF(root*(reach-mean)) - standardNormal.CDF(root*(-reach-mean)))
	}, t((1+width)*sd), t(max(0, 1-width)*sd), points, nil, 0)
}

// worst is the greatest risk over all splits of a share beyond the limits, from half on
// either side to all but a millionth on one; risk says what it is for a chance to lie in
// the region.
func (r *region) worst(share float64, risk func(inside float64) float64) float64 {
	const splits = 24
	least := standardNormal.Quantile(1 - share/2)
	step := (standardNormal.Quantile(1-share*1e-6) - least) / splits
	greatest := 0.0
	for i := range splits {
		far := least + float64(i)*step
		near := standardNormal.Quantile(1 - share + standardNormal.Survival(far))
		sd := 2 / (near + far)
		greatest = max(greatest, risk(r.chance(1-near*sd, sd)))
	}
	return greatest
}
