package plan

import (
	"cmp"
	"math"
	"slices"

	"evenpole/fit"
	"evenpole/fit/level"
)

// bestMatched is the best stagger, with magnets chosen from stock where that is
// wanted. It finds heights, chooses magnets for these heights, finds heights for
// these magnets, and goes on as long as the score improves.
func (j *job) bestMatched() (*search, []int, error) {
	s, best, least, err := j.bestStagger()
	if err != nil || j.order.Magnets != nil || !j.order.Layout.Plain() || len(j.opt.Stock) < len(j.target) {
		return s, best, err
	}
	gains := j.gains(j.limits.heights(best))
	if !magnetsDiffer(gains) {
		return s, best, nil
	}
	for bare := s; ; {
		if err := bare.resample(best, searchDraws); err != nil {
			return nil, nil, err
		}
		t, other, got, err := j.withMagnets(bare.choose(best, gains)).bestStagger()
		if err != nil || s != bare && !got.less(least) {
			return s, best, err
		}
		s, best, least = t, other, got
	}
}

// bestStagger is the best stagger with its own score.
func (j *job) bestStagger() (*search, []int, score, error) {
	s, err := j.newSearch()
	if err != nil {
		return nil, nil, noScore, err
	}
	best, err := s.best()
	if err != nil {
		return nil, nil, noScore, err
	}
	got, err := s.ownScore(best)
	return s, best, got, err
}

// withMagnets is the job with these magnets of the stock, one a string.
func (j *job) withMagnets(chosen []int) *job {
	var names []string
	for _, m := range chosen {
		names = append(names, j.opt.Stock[m])
	}
	return j.with(func(s *fit.Setup) { s.Magnets = names })
}

// gains lists, by string and magnet of the stock, the dB that the magnet adds to the
// string's level by the model.
func (j *job) gains(heights []float64) [][]float64 {
	n, v := len(heights), *j.variants[0]
	s := *v.setup
	s.Magnets = make([]string, n)
	before := v.model.Level(nil, &s, heights)
	after, out := make([]float64, n), make([][]float64, n)
	for i := range out {
		for _, m := range j.opt.Stock {
			s.Magnets[i] = m
			v.model.Level(after, &s, heights)
			out[i] = append(out[i], level.PerLn*(after[i]-before[i]))
		}
		s.Magnets[i] = ""
	}
	return out
}

// magnetsDiffer reports whether the model predicts another level for any magnet than
// for another.
func magnetsDiffer(gains [][]float64) bool {
	return slices.ContainsFunc(gains, func(row []float64) bool {
		return slices.Max(row)-slices.Min(row) > rounding
	})
}

// choose assigns a magnet to each string. It starts with magnets that are neighbours
// in strength, the strongest under the string with the lowest deviation, and then
// exchanges magnets for spare ones and with each other as long as that helps.
func (s *search) choose(index []int, gains [][]float64) []int {
	order := make([]int, len(index)) // strings, the one with the lowest deviation last
	for i := range order {
		order[i] = i
	}
	mean := slices.Clone(s.mean(0, index))
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(mean[b], mean[a]) })
	strength := make([]int, len(gains[0])) // magnets, the weakest first
	for m := range strength {
		strength[m] = m
	}
	slices.SortStableFunc(strength, func(a, b int) int { return cmp.Compare(gains[0][a], gains[0][b]) })

	var best []int
	least := math.Inf(1)
	for from := range len(strength) - len(order) + 1 {
		at := make([]int, len(order))
		for k, i := range order {
			at[i] = strength[from+k]
		}
		if w := s.withGains(at, index, gains); w < least {
			best, least = at, w
		}
	}
	s.exchange(best, slices.Clone(index), gains)
	return best
}

// exchange improves a choice, with the heights that go with it, in place, as long as the
// context lasts.
func (s *search) exchange(chosen, index []int, gains [][]float64) {
	least := s.withGains(chosen, index, gains)
	for helped := true; helped && s.ctx.Err() == nil; {
		helped = false
		for i := range chosen {
			for m := range gains[i] {
				for k := max(0, index[i]-mostSteps); k <= min(index[i]+mostSteps, s.limits.room[i]-1); k++ {
					other, was, height := slices.Index(chosen, m), chosen[i], index[i]
					swap(chosen, i, other, m)
					index[i] = k
					if w := s.withGains(chosen, index, gains); w < least-rounding {
						least, helped = w, true
						continue
					}
					index[i] = height
					swap(chosen, i, other, was)
				}
			}
		}
	}
}

// swap gives string i magnet m, and the other string that had it, if any, what i
// had.
func swap(chosen []int, i, other, m int) {
	if other >= 0 && other != i {
		chosen[other] = chosen[i]
	}
	chosen[i] = m
}

// withGains is the expected worst deviation with the chosen magnets.
func (s *search) withGains(chosen, index []int, gains [][]float64) float64 {
	worst := 0.0
	for set, c := range s.samples {
		d := s.mean(set, index)
		for i, m := range chosen {
			d[i] += gains[i][m]
		}
		worst = max(worst, c.meanWorst(s.variants[set].deviations(d), math.Inf(1)))
	}
	return worst
}
