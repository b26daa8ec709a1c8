package repeat

import (
	"fmt"
	"math"
	"slices"

	"evenpole/fit/level"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/mat"
)

// Each pickup has a mean on each jig, of its level and of each contrast of its balance. The
// difference of two jigs is that of these means, averaged over the pickups that both
// measured, each pickup weighing by what it tells (generalised least squares). Its variance
// follows from that of the means, given the variance components.
//
// Degrees of freedom are as many as the sittings, or where these show no scatter of their
// own the mountings, of these pickups on the two jigs, less two: those of a comparison of
// two means. Where fewer than one are left there is no interval.

// levelMean and contrastMean name the mean of a pickup on a jig: of its level, and of
// contrast j.
func levelMean(pickup, jig string) string { return pickup + "\x00" + jig }

func contrastMean(j int, pickup, jig string) string {
	return fmt.Sprintf("%d of %s", j, levelMean(pickup, jig))
}

// jigsOf are the jigs of runs, and which pickups each measured.
func jigsOf(runs []run) (names []string, pickups map[string][]string) {
	pickups = map[string][]string{}
	for _, r := range runs {
		if !slices.Contains(names, r.jig) {
			names = append(names, r.jig)
		}
		if !slices.Contains(pickups[r.jig], r.pickup) {
			pickups[r.jig] = append(pickups[r.jig], r.pickup)
		}
	}
	slices.Sort(names)
	return names, pickups
}

// compareJigs compares each two jigs that measured a pickup.
func (s *Study) compareJigs(balance, mean *estimate, runs []run, sources []factor, confidence float64) error {
	jigs, pickups := jigsOf(runs)
	s.Jigs, s.Compared = jigs, []JigDifference{}
	if len(jigs) < 2 {
		return nil
	}
	ofLevel, err := mean.means()
	if err != nil {
		return &TooFew{err.Error()}
	}
	ofBalance, err := balance.means()
	if err != nil {
		return &TooFew{err.Error()}
	}
	c := comparison{ofLevel, ofBalance, runs, groupsOf(runs, sources), confidence}
	for i, a := range jigs {
		for _, b := range jigs[i+1:] {
			common := slices.DeleteFunc(slices.Clone(pickups[a]), func(p string) bool { return !slices.Contains(pickups[b], p) })
			if len(common) == 0 {
				s.Warnings = append(s.Warnings, fmt.Sprintf("no pickup was measured on both jig %q and jig %q: nothing compares them; let a reference pickup travel", a, b))
				continue
			}
			slices.Sort(common)
			s.Compared = append(s.Compared, c.of(a, b, common))
		}
	}
	return nil
}

// comparison is what jigs are compared by.
type comparison struct {
	level, balance *fixedMeans
	runs           []run
	groups         []int // of each run, its sitting or mounting
	confidence     float64
}

func (c *comparison) of(a, b string, pickups []string) JigDifference {
	d := JigDifference{Jigs: [2]string{a, b}, Pickups: pickups, DOF: max(c.groupsOn(pickups, a)+c.groupsOn(pickups, b)-2, 0), Strings: []StringDifference{}}
	t := math.Inf(1)
	if d.DOF > 0 {
		t = solve.CoverageFactor(float64(d.DOF), c.confidence)
	}
	limits := func(value, variance float64) (low, high level.Figure) {
		half := t * math.Sqrt(variance)
		return level.Figure(value - half), level.Figure(value + half)
	}
	value, variance := c.level.difference(pickups, func(p string) []weighed {
		return []weighed{{levelMean(p, b), 1}, {levelMean(p, a), -1}}
	})
	d.Level = value
	d.Low, d.High = limits(value, variance)
	n := c.strings(pickups)
	for i := range n {
		value, variance := c.balance.difference(pickups, func(p string) []weighed {
			return append(stringContrasts(i, n, p, b, 1), stringContrasts(i, n, p, a, -1)...)
		})
		x := StringDifference{String: i + 1, Balance: value}
		x.Low, x.High = limits(value, variance)
		d.Strings = append(d.Strings, x)
	}
	return d
}

// strings is how many strings the pickups have, 0 where they have not as many each.
func (c *comparison) strings(pickups []string) (n int) {
	for _, r := range c.runs {
		switch {
		case !slices.Contains(pickups, r.pickup):
		case n == 0:
			n = len(r.levels)
		case n != len(r.levels):
			return 0
		}
	}
	return n
}

// groupsOn is how many sittings, or mountings where these are no source, pickups had on a
// jig.
func (c *comparison) groupsOn(pickups []string, jig string) int {
	seen := map[int]bool{}
	for i, r := range c.runs {
		if r.jig == jig && slices.Contains(pickups, r.pickup) {
			seen[c.groups[i]] = true
		}
	}
	return len(seen)
}

// stringContrasts is what the balance of string i of n, from 0, is made of: the contrasts of
// run.contrasts, turned back.
func stringContrasts(i, n int, pickup, jig string, sign float64) []weighed {
	var out []weighed
	for j := range n - 1 {
		before := float64(j + 1)
		scale := sign * math.Sqrt(before/(before+1))
		switch {
		case i == j+1:
			out = append(out, weighed{contrastMean(j, pickup, jig), scale})
		case i <= j:
			out = append(out, weighed{contrastMean(j, pickup, jig), -scale / before})
		}
	}
	return out
}

// fixedMeans are the means of a sample, with their covariance given the variances.
type fixedMeans struct {
	at    numbering
	value []float64
	cov   *mat.SymDense
}

// means are those of the sample, at the standard deviations found.
func (e *estimate) means() (*fixedMeans, error) {
	n := len(e.sd) - 1
	f, err := e.sample.mixedModel().At(e.sd[n], e.sd[:n])
	if err != nil {
		return nil, err
	}
	return &fixedMeans{e.sample.means, f.Beta, f.Cov}, nil
}

// weighed is a share of a mean.
type weighed struct {
	mean   string
	weight float64
}

// difference averages what of makes of the means of each pickup; it returns the variance of
// the average as well.
func (m *fixedMeans) difference(pickups []string, of func(pickup string) []weighed) (value, variance float64) {
	rows := make([][]weighed, len(pickups))
	for i, p := range pickups {
		rows[i] = of(p)
	}
	cov := mat.NewSymDense(len(rows), nil)
	values, ones := mat.NewVecDense(len(rows), nil), mat.NewVecDense(len(rows), nil)
	for i := range rows {
		ones.SetVec(i, 1)
		for _, w := range rows[i] {
			values.SetVec(i, values.AtVec(i)+w.weight*m.value[m.at[w.mean]])
		}
		for j := i; j < len(rows); j++ {
			cov.SetSym(i, j, m.covariance(rows[i], rows[j]))
		}
	}
	var chol mat.Cholesky
	var share mat.VecDense
	if !chol.Factorize(cov) || chol.SolveVecTo(&share, ones) != nil {
		return mat.Dot(values, ones) / float64(len(rows)), math.NaN()
	}
	variance = 1 / mat.Dot(&share, ones)
	return mat.Dot(&share, values) * variance, variance
}

func (m *fixedMeans) covariance(a, b []weighed) (sum float64) {
	for _, v := range a {
		for _, w := range b {
			sum += v.weight * w.weight * m.cov.At(m.at[v.mean], m.at[w.mean])
		}
	}
	return sum
}
