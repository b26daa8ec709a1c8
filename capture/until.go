package capture

import (
	"math"
	"slices"

	"evenpole/capture/record"

	"gonum.org/v1/gonum/stat/distuv"
)

// Bounds of a capture until a standard error.
const (
	leastTakes = 3  // of a string: two say nothing of how takes scatter
	mostTakes  = 40 // of a string, unless Options.Takes says otherwise

	// lent is how many degrees of freedom a string's scatter has from the strings before
	// it at most: few takes of its own may lie close together by chance.
	lent = 4
)

// oneSigma is the share of a normal distribution below its mean plus one standard
// deviation.
const oneSigma = 0.841344746068543

// certainty is how surely the mean level of a string is known by its takes.
type certainty struct {
	takes   int
	scatter float64 // dB, standard deviation of a take
	dof     float64 // that the scatter is known by
	own     float64 // dB, standard deviation of the string's own takes; 0 of fewer than two
}

// standardError of the mean of so many takes, dB: half the width of its 68 % interval by
// Student's t, which is the standard error when the scatter is known for sure, and no less
// than the string's own takes alone say, as this string may scatter more than others. +Inf
// without a scatter.
func (c certainty) standardError(takes int) float64 {
	if c.dof <= 0 {
		return math.Inf(1)
	}
	t := distuv.StudentsT{Sigma: 1, Nu: c.dof + float64(takes-c.takes)}.Quantile(oneSigma)
	return max(t*c.scatter, c.own) / math.Sqrt(float64(takes))
}

// wanted is how many takes a standard error takes by what is known so far, at most most.
func (c certainty) wanted(until float64, most int) int {
	n := max(c.takes, leastTakes)
	for n < most && (c.dof <= 0 && n == c.takes || c.dof > 0 && c.standardError(n) > until) {
		n++
	}
	return min(n, most)
}

// until is whether the takes of a step end by their standard error.
func (r *run) until(i int) bool {
	return r.opt.Until > 0 && (r.steps[i].Mode == record.Pluck || r.steps[i].Mode == record.Drive)
}

// ahead is how many takes more the jig is asked for at once. Where a take may be the last
// one, it is one.
func (r *run) ahead(i int) int {
	t := &r.result.Tallies[i]
	if r.until(i) && t.Good >= leastTakes {
		return 1
	}
	if r.until(i) {
		return leastTakes - t.Good
	}
	return t.Wanted - t.Good
}

// judge works out how many takes a string wants after one more counts.
func (r *run) judge(i int) {
	if !r.until(i) {
		return
	}
	c, t := r.certaintyOf(i), &r.result.Tallies[i]
	t.Wanted = c.wanted(r.opt.Until, r.opt.Takes)
	if t.StandardError = 0; c.dof > 0 {
		t.StandardError = c.standardError(c.takes)
	}
}

// certaintyOf pools the scatter of a string's takes with what strings before it, whose takes
// do not change any more, usually scatter by: the median, as one of them may have a worn
// plectrum.
func (r *run) certaintyOf(i int) certainty {
	var others []float64 // dB²
	var lentDOF float64
	for k := range i {
		if squares, n := r.squares(k); r.until(k) && n > 1 {
			others = append(others, squares/float64(n-1))
			lentDOF = min(lentDOF+float64(n-1), lent)
		}
	}
	squares, n := r.squares(i)
	c := certainty{takes: n, dof: lentDOF + float64(max(n-1, 0))}
	if c.dof > 0 {
		c.scatter = math.Sqrt((lentDOF*median(others) + squares) / c.dof)
	}
	if n > 1 {
		c.own = math.Sqrt(squares / float64(n-1))
	}
	return c
}

// median is that of some numbers; 0 of none.
func median(x []float64) float64 {
	slices.Sort(x)
	switch n := len(x); {
	case n == 0:
		return 0
	case n%2 == 1:
		return x[n/2]
	default:
		return (x[n/2-1] + x[n/2]) / 2
	}
}

// squares is the sum of the squares of a string's levels about their mean, dB², and how
// many takes they are of. Quiet power is taken off.
func (r *run) squares(i int) (sum float64, n int) {
	quiet := r.quietLevel(r.steps[i].Number)
	if math.IsNaN(quiet) {
		quiet = 0
	}
	var mean float64
	for _, rms := range r.levels[i] {
		power := rms*rms - quiet*quiet
		if power <= 0 {
			continue
		}
		n++
		x := 10 * math.Log10(power)
		d := x - mean
		mean += d / float64(n)
		sum += d * (x - mean)
	}
	return sum, n
}
