package batch

import (
	"cmp"
	"context"
	"math"
	"slices"

	"evenpole/fit/level"

	"gonum.org/v1/gonum/stat"
)

// Set is magnets that go together, weakest first.
type Set struct {
	Number  int      `json:"set"` // 1 is the weakest set
	Magnets []string `json:"magnets"`
	Mean    float64  `json:"mean_mt"`
	SD      float64  `json:"sd_mt"`
	Spread  float64  `json:"spread_mt"` // strongest less weakest
}

// Sets is magnets sorted into sets of one size.
type Sets struct {
	Size   int          `json:"size"`
	Sets   []Set        `json:"sets"`
	Left   []string     `json:"left_over"` // the magnets that fit least, N mod size of them
	Unfit  []string     `json:"unfit"`     // kept out: beyond the limits, or the wrong way round
	Within float64      `json:"within_ss"` // sum of squares within all sets, mT²: the least there can be
	SD     float64      `json:"within_sd_mt"`
	TrueSD level.Figure `json:"within_sd_true_mt"` // of true strengths, about, see Report.Match; unknown without the measurement's
	Free   float64      `json:"unmatched_sd_mt"`   // of the magnets without sorting
}

// Match sorts the report's magnets into sets, see the function Match. Sorting by
// measured strengths brings errors together as well: true strengths scatter more
// within a set than measured ones. Of a magnet measured as x a normal batch has
// true strengths about mean + r (x - mean), r the share of the variance that is the
// magnets' own, with the variance r times that of the measurement.
func (r *Report) Match(ctx context.Context, size int) (*Sets, error) {
	s, err := Match(ctx, r.Magnets, size)
	if err != nil || r.Scatter == nil || !r.Scatter.Measurement.Known() {
		return s, err
	}
	e := float64(r.Scatter.Measurement)
	own := r.Scatter.Magnets * r.Scatter.Magnets
	share := own / (own + e*e)
	s.TrueSD = level.Figure(math.Sqrt(share*share*s.SD*s.SD + share*e*e))
	return s, nil
}

// Match sorts magnets into sets of size with the least sum of squares of
// strength within sets, over all choices of what is left over. Magnets that are
// beyond their limits or reversed are kept out. Equal strengths go in the order
// given.
//
// That is the optimum, and not near it. (1) In it the sets do not overlap: of two
// sets of one size the sum of squares is Σx² less (S₁² + S₂²)/size, and with S₁ +
// S₂ and Σx² fixed it is least when S₁ and S₂ are as far apart as can be: the
// smaller half in one, the larger in the other. (W. D. Fisher, On grouping for
// maximum homogeneity, J. Amer. Statist. Assoc. 53, 789, 1958, for sizes that are
// free.) (2) No magnet left over lies inside a set: as a function of one member
// the sum of squares is a parabola about the mean of the others. The mean without
// the weakest lies above that without the strongest, so that a magnet in between
// is nearer to the one or the other than the end it would replace. (3) So each
// set is a run of neighbours in order of strength, and runs and gaps are found by
// dynamic programming over how many magnets were passed and how many of them were
// left over. An error is a *Refusal, or that of ctx when it ends.
func Match(ctx context.Context, magnets []Magnet, size int) (*Sets, error) {
	if size < 2 {
		return nil, refused("set size: expected 2 or more, got %d", size)
	}
	s := &Sets{Size: size, TrueSD: level.Figure(math.NaN()), Sets: []Set{}, Left: []string{}, Unfit: []string{}}
	var fit []Magnet
	for _, m := range magnets {
		if m.Breach != "" || m.Reversed {
			s.Unfit = append(s.Unfit, m.Name)
		} else {
			fit = append(fit, m)
		}
	}
	if len(fit) < size {
		return nil, refused("set size: expected at most the %d magnets that are within limits and the right way round, got %d", len(fit), size)
	}
	slices.SortStableFunc(fit, func(a, b Magnet) int { return cmp.Compare(a.Strength(), b.Strength()) })
	x := strengths(fit)
	s.Free = stat.StdDev(x, nil)
	starts, err := runs(ctx, x, size)
	if err != nil {
		return nil, err
	}
	at := 0
	for _, start := range starts {
		s.leave(fit[at:start])
		at = start + size
		s.add(fit[start:at])
	}
	s.leave(fit[at:])
	s.SD = math.Sqrt(s.Within / float64(len(s.Sets)*(size-1)))
	return s, nil
}

func (s *Sets) leave(magnets []Magnet) {
	for _, m := range magnets {
		s.Left = append(s.Left, m.Name)
	}
}

func (s *Sets) add(magnets []Magnet) {
	x := strengths(magnets)
	mean, sd := stat.MeanStdDev(x, nil)
	set := Set{Number: len(s.Sets) + 1, Mean: mean, SD: sd, Spread: x[len(x)-1] - x[0]}
	for _, m := range magnets {
		set.Magnets = append(set.Magnets, m.Name)
	}
	s.Sets = append(s.Sets, set)
	s.Within += sumOfSquares(x)
}

// sumOfSquares about the mean.
func sumOfSquares(x []float64) float64 {
	mean, sum := stat.Mean(x, nil), 0.0
	for _, v := range x {
		sum += (v - mean) * (v - mean)
	}
	return sum
}

// runs returns where the best sets start in sorted values: as many as there can
// be, of size neighbours each.
func runs(ctx context.Context, x []float64, size int) ([]int, error) {
	left := len(x) % size
	// least[i][j] is the least sum of squares of the first i values, j of them left
	// over; taken says whether a set ends there.
	least := make([][]float64, len(x)+1)
	taken := make([][]bool, len(x)+1)
	for i := range least {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		least[i], taken[i] = make([]float64, left+1), make([]bool, left+1)
		for j := range least[i] {
			least[i][j], taken[i][j] = math.Inf(1), false
			if i == 0 && j == 0 {
				least[i][j] = 0
			}
			if i > 0 && j > 0 {
				least[i][j] = least[i-1][j-1]
			}
			if i < size {
				continue
			}
			if ss := least[i-size][j] + sumOfSquares(x[i-size:i]); ss < least[i][j] {
				least[i][j], taken[i][j] = ss, true
			}
		}
	}
	var starts []int
	for i, j := len(x), left; i > 0; {
		if taken[i][j] {
			i -= size
			starts = append(starts, i)
		} else {
			i, j = i-1, j-1
		}
	}
	slices.Reverse(starts)
	return starts, nil
}
