package drift

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// The constants of control charts, for normal values.
//
// c4 is the mean of the standard deviation of n values, in units of the true one;
// d2 and d3 are the mean and the standard deviation of the range of two. Their
// published tables (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2) are
// rounded values of these.
func c4(n int) float64 {
	up, _ := math.Lgamma(float64(n) / 2)
	down, _ := math.Lgamma(float64(n-1) / 2)
	return math.Sqrt(2/float64(n-1)) * math.Exp(up-down)
}

var (
	d2 = 2 / math.Sqrt(math.Pi)
	d3 = math.Sqrt(2 - 4/math.Pi)
)

// sigmas is how far Shewhart's limits lie from the centre.
const sigmas = 3

// limits are those of one point.
type limits struct{ centre, lower, upper float64 }

// around returns limits so many deviations either side.
func around(centre, sd float64) limits {
	return limits{centre, centre - sigmas*sd, centre + sigmas*sd}
}

// movingRanges are the distances from each value to the one before; the first
// is NaN.
func movingRanges(x []float64) []float64 {
	out := make([]float64, len(x))
	for i := range out {
		out[i] = math.NaN()
		if i > 0 {
			out[i] = math.Abs(x[i] - x[i-1])
		}
	}
	return out
}

// rangeLimits are those of a moving range of two: D4 and D3 times the mean.
func rangeLimits(sigma float64) limits {
	l := around(d2*sigma, d3*sigma)
	l.lower = max(0, l.lower)
	return l
}

// scatterLimits are those of the standard deviation of n values: B4 and B3 times
// the mean standard deviation, c4 sigma.
func scatterLimits(sigma float64, n int) limits {
	c := c4(n)
	l := around(c*sigma, sigma*math.Sqrt(1-c*c))
	l.lower = max(0, l.lower)
	return l
}

// shortTerm is the standard deviation of one value that a chart is drawn by, from
// a baseline of groups: the mean of their standard deviations over c4 or, of
// single values, the mean moving range over d2.
func shortTerm(groups [][]float64, single bool) float64 {
	if single {
		return stat.Mean(movingRanges(means(groups))[1:], nil) / d2
	}
	var sum float64
	for _, g := range groups {
		sum += stat.StdDev(g, nil) / c4(len(g))
	}
	return sum / float64(len(groups))
}

func means(groups [][]float64) []float64 {
	out := make([]float64, len(groups))
	for i, g := range groups {
		out[i] = stat.Mean(g, nil)
	}
	return out
}
