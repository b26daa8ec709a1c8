package verdict

import (
	"math"

	"evenpole/fit/solve"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// budget is where the uncertainty of every string's balance comes from. The
// variances, in dB², are those of a single take; the same value stands for all
// strings that pool their takes.
type budget struct {
	takes     []int     // by string
	variance  []float64 // by string
	own       []bool    // the string's variance is its own, not the pooled one
	allowance float64   // dB², of each string's level, independent between strings
}

// enoughTakes of every string give each a variance of its own: with fewer than
// 10, a variance is too uncertain to be worth more than the pooled one (our
// rule).
const enoughTakes = 10

// newBudget estimates the scatter of takes. Strings pool it (JCGM 100:2008,
// 4.2.4) unless all have enough takes. A string that scatters more than the
// others by an F test at 1 % over all strings keeps its own. NaN stands for
// a scatter that takes cannot show: one a string.
func newBudget(levels [][]float64, allowance float64) *budget {
	n := len(levels)
	b := &budget{takes: make([]int, n), variance: make([]float64, n), own: make([]bool, n), allowance: allowance}
	alone := true
	squares := make([]float64, n)
	for i, l := range levels {
		b.takes[i] = len(l)
		alone = alone && len(l) >= enoughTakes
		if len(l) > 1 {
			squares[i] = stat.Variance(l, nil) * float64(len(l)-1)
		}
	}
	for i := range b.own {
		b.own[i] = alone || b.standsOut(squares, i)
	}
	var sum float64
	for i, sq := range squares {
		if b.own[i] {
			b.variance[i] = sq / b.dof(i)
		} else {
			sum += sq
		}
	}
	for i := range b.variance {
		if !b.own[i] {
			b.variance[i] = sum / b.pooledDOF()
		}
	}
	return b
}

// standsOut reports whether string i scatters more than the others together.
func (b *budget) standsOut(squares []float64, i int) bool {
	var others, dof float64
	for j, sq := range squares {
		if j != i {
			others += sq
			dof += b.dof(j)
		}
	}
	if b.dof(i) < 1 || dof < 1 || squares[i] == 0 {
		return false
	}
	ratio := squares[i] / b.dof(i) / (others / dof)
	return math.IsInf(ratio, 1) || distuv.F{D1: b.dof(i), D2: dof}.Survival(ratio) < 0.01/float64(len(squares))
}

// dof is how many degrees of freedom string i's own variance has.
func (b *budget) dof(i int) float64 { return float64(max(b.takes[i]-1, 0)) }

// pooledDOF is how many the pooled variance has.
func (b *budget) pooledDOF() float64 {
	var dof float64
	for i := range b.takes {
		if !b.own[i] {
			dof += b.dof(i)
		}
	}
	return dof
}

// share is the square of the sensitivity of string i's balance to string j's
// level. Every level is in the mean of them all, a string's own as well.
func (b *budget) share(i, j int) float64 {
	mean := 1 / float64(len(b.takes))
	if i == j {
		return (1 - mean) * (1 - mean)
	}
	return mean * mean
}

// balance returns the variance of string i's balance. That one scatter serves
// many strings is one part here, so that its degrees of freedom count once.
func (b *budget) balance(i int) solve.Part {
	pooled := solve.Part{DOF: b.pooledDOF()}
	allowed := solve.Part{DOF: math.Inf(1)}
	parts := make([]solve.Part, 0, len(b.takes)+2)
	for j, n := range b.takes {
		if b.share(i, j) == 0 {
			continue // the only string: its balance is 0 whatever its level
		}
		v := b.share(i, j) * b.variance[j] / float64(n)
		if b.own[j] {
			parts = append(parts, solve.Part{Variance: v, DOF: b.dof(j)})
		} else {
			pooled.Variance += v
		}
		allowed.Variance += b.share(i, j) * b.allowance
	}
	return solve.Combine(append(parts, pooled, allowed)...)
}

// leastExpanded is the expanded uncertainty of string i's balance that no number of
// takes can lower: that of the allowances.
func (b *budget) leastExpanded(i int, coverage float64) float64 {
	var allowed float64
	for j := range b.takes {
		allowed += b.share(i, j) * b.allowance
	}
	_, _, expanded := solve.Part{Variance: allowed, DOF: math.Inf(1)}.Expand(coverage)
	return expanded
}

// middle is the median of sorted values, the lower one of two.
func middle(sorted []float64) float64 {
	if len(sorted) == 0 {
		return math.NaN()
	}
	return sorted[(len(sorted)-1)/2]
}
