package plan

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenpole/fit/level"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// forecastOf is the forecast of heights under equal strings, 3 mm up.
func forecastOf(t *testing.T, m bench, offset []float64, tolerance float64, opt Options, heights ...float64) Forecast {
	t.Helper()
	o := order(len(heights), 1.75, 0.25)
	o.Tolerance, o.Offset = tolerance, offset
	j, err := newJob(t.Context(), o, m, opt)
	if err != nil {
		t.Fatal(err)
	}
	got, err := j.forecast(heights)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func closeTo(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.5f, want %.5f within %g", what, got, want, tolerance)
	}
}

// Levels by hand: 20 mV and 10 mV lie 6.0206 dB apart, half of it on each side. Offsets
// of 1 and -0.5 dB are 0.75 and -0.75 dB about their mean.
func TestMeansByHand(t *testing.T) {
	m := bench{curve: func(i int, h float64) float64 { return math.Log([]float64{20, 10}[i]) + 0.1*h }}
	got := forecastOf(t, m, []float64{1, -0.5}, 1, certain, 0, 0)
	closeTo(t, "level 1", float64(got.Level[0]), 20, 1e-9)
	closeTo(t, "level 2", float64(got.Level[1]), 10, 1e-9)
	closeTo(t, "balance 1", got.Balance[0], 3.0103, 1e-4)
	closeTo(t, "balance 2", got.Balance[1], -3.0103, 1e-4)
	closeTo(t, "deviation 1", got.Deviation[0], 2.2603, 1e-4)
	closeTo(t, "deviation 2", got.Deviation[1], -2.2603, 1e-4)
	closeTo(t, "slope", got.Slope[1], 0.01*8.68589, 1e-6)
	closeTo(t, "gap", got.Gaps[0], 3, 1e-12)
	closeTo(t, "spread", got.Spread, 4.5206, 1e-4) // nothing is uncertain
	closeTo(t, "2.5 % point", got.Spread95[0], 4.5206, 1e-4)
	closeTo(t, "meets", got.Meets, 0, 0)
}

// The spread of equal strings with equal, independent errors is the range of a
// normal sample, whose mean is the constant d2 of control charts: values by
// integration, which round to the usual table (as in the NIST/SEMATECH e-Handbook
// of Statistical Methods, 6.3.2).
func TestSpreadIsTheRangeOfNormals(t *testing.T) {
	d2 := map[int]float64{2: 1.12838, 3: 1.69257, 4: 2.05875, 6: 2.53441, 8: 2.84720, 12: 3.25846}
	for n, want := range d2 {
		sd, zero := make([]float64, n), make([]float64, n)
		for i := range sd {
			sd[i] = 0.4
		}
		got := forecastOf(t, line(zero, zero).independent(sd...), nil, 1, Options{}, zero...)
		closeTo(t, "spread over sd", got.Spread/0.4, want, 0.01)
	}
}

// Two strings have closed forms: the spread is a folded normal (F. C. Leone,
// L. S. Nelson and R. B. Nottingham, The Folded Normal Distribution, 1961; from
// memory), and both are within tolerance when half the difference is.
func TestTwoStringsClosedForm(t *testing.T) {
	for _, c := range []struct{ apart, sd1, sd2, tolerance float64 }{
		{0, 0.3, 0.4, 0.3}, {1, 0.3, 0.4, 0.5}, {1.6, 0.5, 0.1, 1}, {-2.5, 0.2, 0.2, 1},
	} {
		m := line([]float64{c.apart, 0}, []float64{2, 1}).independent(c.sd1, c.sd2)
		got := forecastOf(t, m, nil, c.tolerance, Options{SettingSD: 0.1}, 0, 0)
		sd := math.Sqrt(c.sd1*c.sd1 + c.sd2*c.sd2 + 0.1*0.1*(2*2+1*1)) // dB, with both poles' setting
		d := distuv.Normal{Mu: c.apart, Sigma: sd}
		folded := func(x float64) float64 { return d.CDF(x) - d.CDF(-x) }
		mean := sd*math.Sqrt(2/math.Pi)*math.Exp(-c.apart*c.apart/(2*sd*sd)) + c.apart*(1-2*distuv.UnitNormal.CDF(-c.apart/sd))
		closeTo(t, "spread", got.Spread, mean, 0.002)
		closeTo(t, "worst", got.Worst, mean/2, 0.001) // both strings are off by half of what lies between them
		closeTo(t, "2.5 % point", folded(got.Spread95[0]), 0.025, 0.002)
		closeTo(t, "97.5 % point", folded(got.Spread95[1]), 0.975, 0.002)
		closeTo(t, "meets", got.Meets, folded(2*c.tolerance), 0.002)
	}
}

// correlated is a covariance in dB² with a strong common part and one between
// neighbours.
func correlated(n int) *mat.SymDense {
	c := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			c.SetSym(i, k, 4+0.2*math.Pow(0.6, float64(k-i)))
		}
	}
	return c
}

// slowly builds pickups one by one with random numbers: poles are set, the
// model asked again at the heights they came to, errors drawn with a Cholesky
// factor. Nothing is linearised, nothing shared with forecast.
func slowly(t *testing.T, m bench, offset []float64, tolerance, settingSD float64, heights []float64) (spreads []float64, worst, meets float64) {
	t.Helper()
	var root mat.Cholesky
	if !root.Factorize(m.cov) {
		t.Fatal("not positive definite")
	}
	var l mat.TriDense
	root.LTo(&l)
	r, n := rand.New(rand.NewPCG(7, 7)), len(heights)
	const pickups = 200_000
	for range pickups {
		set := slices.Clone(heights)
		for i := range set {
			set[i] += settingSD * r.NormFloat64()
		}
		y, z := m.Level(nil, nil, set), mat.NewVecDense(n, randoms(r, n, 1))
		var e mat.VecDense
		e.MulVec(&l, z)
		for i := range y {
			y[i] = 20 * math.Log10(math.Exp(y[i]+e.AtVec(i)))
		}
		m := stat.Mean(y, nil)
		ok := 1.0
		for i := range y {
			if y[i] -= m + offset[i]; math.Abs(y[i]) > tolerance {
				ok = 0
			}
		}
		spreads, meets = append(spreads, slices.Max(y)-slices.Min(y)), meets+ok/pickups
		worst += max(slices.Max(y), -slices.Min(y)) / pickups
	}
	slices.Sort(spreads)
	return spreads, worst, meets
}

func TestForecastAgainstSlowMonteCarlo(t *testing.T) {
	heights, offset := []float64{0.5, 1.5, 0, 1, 0.25, 0.75}, []float64{0.5, 0, 0, 0, 0, -0.5}
	m := falloff([]float64{0, -2, 2.5, 0, 1.5, 0})
	m.hears = -0.05
	m.cov = correlated(6)
	m.cov.ScaleSym(1/(level.PerLn*level.PerLn), m.cov)
	got := forecastOf(t, m, offset, 1.2, Options{SettingSD: 0.1, Draws: 1 << 16}, heights...)
	spreads, worst, meets := slowly(t, m, offset, 1.2, 0.1, heights)
	closeTo(t, "spread", got.Spread, stat.Mean(spreads, nil), 0.005)
	closeTo(t, "2.5 % point", got.Spread95[0], spreads[len(spreads)*25/1000], 0.02)
	closeTo(t, "97.5 % point", got.Spread95[1], spreads[len(spreads)*975/1000], 0.02)
	closeTo(t, "meets", got.Meets, meets, 0.01)
	closeTo(t, "worst", got.Worst, worst, 0.005)
}

// What all strings share leaves balance alone, however large; alone, it leaves
// nothing to be uncertain about, and no square root fails.
func TestSharedUncertaintyDoesNotMatter(t *testing.T) {
	zero := make([]float64, 6)
	m := line([]float64{0, 0.1, 0.2, 0.3, 0.4, 0.5}, zero)
	m.cov = mat.NewSymDense(6, nil)
	for i := range 6 {
		for k := range 6 {
			m.cov.SetSym(i, k, 100)
		}
	}
	got := forecastOf(t, m, nil, 1, Options{}, zero...)
	closeTo(t, "spread", got.Spread, 0.5, 1e-6)
	closeTo(t, "meets", got.Meets, 1, 0)
}

func TestSettingErrorAlone(t *testing.T) {
	// One pole of two has a slope of 3 dB/mm: 0.15 dB at 0.05 mm, and the mean
	// of the absolute value of a normal is sd·sqrt(2/pi).
	got := forecastOf(t, line([]float64{0, 0}, []float64{3, 0}), nil, 1, Options{}, 0, 0)
	closeTo(t, "spread", got.Spread, 0.15*math.Sqrt(2/math.Pi), 5e-4)
	closeTo(t, "slope", got.Slope[0], 0.3, 1e-9)
}
