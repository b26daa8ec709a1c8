package fit

import (
	"cmp"
	"math"
	"time"

	"gonum.org/v1/gonum/stat/distuv"
)

// The test for a trend is that of H. B. Mann (Nonparametric tests against trend,
// Econometrica 13, 1945) on M. G. Kendall's score S, in blocks whose scores add
// up, as in R. M. Hirsch, J. R. Slack, R. A. Smith (Techniques of trend analysis
// for monthly water quality data, Water Resources Research 18, 1982). The slope is
// the median over the pairs that the score compares (P. K. Sen, Estimates of the
// regression coefficient based on Kendall's tau, J. Am. Stat. Assoc. 63, 1968).

const monthHours = 365.25 / 12 * 24

// timedError is the mean error of cells' predictions, ln v, and when they were captured.
type timedError struct {
	at  time.Time
	err float64
}

// comparePairs compares every two errors of a block: their slopes, ln v per month, and
// the score of all, rising pairs less falling ones.
func comparePairs(blocks [][]timedError) (slopes []float64, score int) {
	for _, b := range blocks {
		for i := range b {
			for _, other := range b[i+1:] {
				months := other.at.Sub(b[i].at).Hours() / monthHours
				if months == 0 {
					continue
				}
				slope := (other.err - b[i].err) / months
				slopes = append(slopes, slope)
				score += cmp.Compare(slope, 0)
			}
		}
	}
	return slopes, score
}

// trendPValue is the chance of a score as far from 0 as this without a trend, two-sided.
func trendPValue(blocks [][]timedError, score int) float64 {
	score = max(score, -score)
	var most int
	var variance float64
	for _, b := range blocks {
		n := len(b)
		most += n * (n - 1) / 2
		variance += float64(n*(n-1)*(2*n+5)) / 18
	}
	const many = 10000 // pairs, some 140 pickups: the normal limit is close
	if most > many {
		z := (math.Abs(float64(score)) - 1) / math.Sqrt(variance)
		return min(1, 2*distuv.UnitNormal.Survival(z))
	}
	var p float64
	for inversions, q := range inversionChances(blocks) {
		if s := most - 2*inversions; s >= score || s <= -score {
			p += q
		}
	}
	return min(1, p)
}

// inversionChances is the chance of each number of falling pairs, when all orders
// within the blocks are equally likely: the product of (1 + x + ... + x^(k-1))/k over
// each block's k.
func inversionChances(blocks [][]timedError) []float64 {
	chances := []float64{1}
	for _, b := range blocks {
		for k := 2; k <= len(b); k++ {
			next := make([]float64, len(chances)+k-1)
			var window float64
			for i := range next {
				if i < len(chances) {
					window += chances[i]
				}
				if i >= k {
					window -= chances[i-k]
				}
				next[i] = window / float64(k)
			}
			chances = next
		}
	}
	return chances
}
