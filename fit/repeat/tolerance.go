package repeat

import (
	"math"

	"evenpole/fit/solve"
)

// The limits of ratings: common practice of gauge studies (10 % and 30 % are
// the limits of AIAG, Measurement Systems Analysis, 4th edition, from memory).
const (
	fineShare   = 0.1
	usableShare = 0.3
)

// rating is what a share is called.
// rating is what a share is called.
func rating(share float64) string {
	switch {
	case share <= fineShare:
		return "fine"
	case share <= usableShare:
		return "usable"
	}
	return "too much"
}

// The most takes of a string and mountings of a pickup that are worth asking for
// (our rule).
const (
	mostTakes     = 100
	mostMountings = 20
)

// checkModel predicts the scatter of a check from the variance components.
type checkModel struct {
	balance *estimate
	strings int
	dof, k  float64 // of a check in one mounting, and the coverage factor for it
}

// newCheckModel takes the coverage factor of a check with so many takes of each string
// for all numbers of takes. With a factor for each number, U could grow with the
// takes: more of the variance would then be that of few operators or sittings, which
// has few degrees of freedom.
func newCheckModel(balance *estimate, strings, takes int, confidence float64) *checkModel {
	_, dof := balance.sum(balance.ofMounting(takes))
	return &checkModel{balance, strings, dof, solve.CoverageFactor(dof, confidence)}
}

// sigmas is by how many standard deviations a P/T ratio counts a gauge.
const sigmas = 6

// ofMounting are the multiples of the components that make the variance of a mean of
// so many takes in one mounting.
func (e *estimate) ofMounting(takes int) []float64 {
	share := make([]float64, len(e.sd))
	for k := range share {
		share[k] = 1
	}
	share[len(share)-1] = 1 / float64(takes)
	return share
}

// check is the standard deviation of a string's balance, and U, of the mean of so
// many mountings, by the same person in the same sitting, of so many takes each. A
// balance has 1 - 1/n of the variance that each of n strings has of its own.
func (b *checkModel) check(mountings, takes int) (sd, expanded float64) {
	share := b.balance.ofMounting(takes)
	for k, c := range b.balance.sample.sources {
		if c.name == byMounting {
			share[k] /= float64(mountings)
		}
	}
	share[len(share)-1] /= float64(mountings)
	variance, _ := b.balance.sum(share)
	sd = math.Sqrt(variance * (1 - 1/float64(b.strings)))
	return sd, b.k * sd
}

// mounting is the standard deviation that more takes of a string do not lower:
// operator, sitting and mounting together.
func (b *checkModel) mounting() float64 {
	share := b.balance.ofMounting(1)
	share[len(share)-1] = 0
	variance, _ := b.balance.sum(share)
	return math.Sqrt(variance)
}

// share is P/T of a standard deviation.
func share(sd, tolerance float64) float64 { return sigmas * sd / (2 * tolerance) }

func (b *checkModel) tolerance(o Options) *Tolerance {
	t := &Tolerance{Limit: o.Tolerance, Want: o.Want}
	sd, _ := b.check(1, o.Takes)
	t.Share = share(sd, o.Tolerance)
	sd, _ = b.check(1, 1)
	t.TakeShare = share(sd, o.Tolerance)
	t.Rating = rating(t.Share)
	limit := o.Want * o.Tolerance
	t.Takes = firstThatDoes(mostTakes, func(n int) bool { _, u := b.check(1, n); return u <= limit })
	t.Mountings = firstThatDoes(mostMountings, func(n int) bool { _, u := b.check(n, o.Takes); return u <= limit })
	for _, n := range []int{1, 3, 6, 10, 20, 50} {
		sd, u := b.check(1, n)
		t.Rows = append(t.Rows, Row{n, sd, u, share(sd, o.Tolerance)})
	}
	return t
}

// firstThatDoes is the least number from 1 to most that does; 0 when none does.
func firstThatDoes(most int, does func(int) bool) int {
	for n := 1; n <= most; n++ {
		if does(n) {
			return n
		}
	}
	return 0
}
