package plan

import (
	"cmp"
	"math"
	"slices"

	"evenpole/fit"
)

// bestMatched is the best stagger, with magnets chosen from stock where that is
// wanted: heights first, magnets for these, heights for those, and so on while it
// helps.
func (j *job) bestMatched() (*search, []int, error) {
	s, best, least, err := j.searched()
	if err != nil || j.order.Magnets != nil || len(j.opt.Stock) < len(j.offset) {
		return s, best, err
	}
	gains := j.gains(j.limits.heights(best))
	if !told(gains) {
		return s, best, nil
	}
	for bare := s; ; {
		if err := bare.freeze(best, searched); err != nil {
			return nil, nil, err
		}
		t, other, got, err := j.withMagnets(bare.choose(best, gains)).searched()
		if err != nil || s != bare && !got.less(least) {
			return s, best, err
		}
		s, best, least = t, other, got
	}
}

// searched is the best stagger with its score in its own clouds.
func (j *job) searched() (*search, []int, score, error) {
	s, err := j.newSearch()
	if err != nil {
		return nil, nil, none, err
	}
	best, err := s.best()
	if err != nil {
		return nil, nil, none, err
	}
	got, err := s.own(best)
	return s, best, got, err
}

// withMagnets is the job with these magnets of the stock in it.
func (j *job) withMagnets(chosen []int) *job {
	var names []string
	for _, m := range chosen {
		names = append(names, j.opt.Stock[m])
	}
	return j.with(func(s *fit.Setup) { s.Magnets = names })
}

// gains lists, by string and magnet of the stock, what the magnet adds to the
// string's level in dB by what the model makes of it.
func (j *job) gains(heights []float64) [][]float64 {
	n, b := len(heights), *j.beds[0]
	s := *b.setup
	s.Magnets = make([]string, n)
	before := b.model.Level(nil, &s, heights)
	after, out := make([]float64, n), make([][]float64, n)
	for i := range out {
		for _, m := range j.opt.Stock {
			s.Magnets[i] = m
			b.model.Level(after, &s, heights)
			out[i] = append(out[i], decibel*(after[i]-before[i]))
		}
		s.Magnets[i] = ""
	}
	return out
}

// told reports whether the model tells any magnet from another.
func told(gains [][]float64) bool {
	return slices.ContainsFunc(gains, func(row []float64) bool {
		return slices.Max(row)-slices.Min(row) > rounding
	})
}

// choose gives each string a magnet. It starts from neighbours in strength, the
// strongest under the string that lacks most, and exchanges magnets for spare
// ones and among each other as long as that helps.
func (s *search) choose(index []int, gains [][]float64) []int {
	lack := make([]int, len(index)) // strings, the one that lacks most last
	for i := range lack {
		lack[i] = i
	}
	mean := slices.Clone(s.mean(0, index))
	slices.SortStableFunc(lack, func(a, b int) int { return cmp.Compare(mean[b], mean[a]) })
	strength := make([]int, len(gains[0])) // magnets, the weakest first
	for m := range strength {
		strength[m] = m
	}
	slices.SortStableFunc(strength, func(a, b int) int { return cmp.Compare(gains[0][a], gains[0][b]) })

	var best []int
	least := math.Inf(1)
	for from := range len(strength) - len(lack) + 1 {
		at := make([]int, len(lack))
		for k, i := range lack {
			at[i] = strength[from+k]
		}
		if w := s.withGains(at, index, gains); w < least {
			best, least = at, w
		}
	}
	s.exchange(best, slices.Clone(index), gains)
	return best
}

// exchange improves a choice, with the heights that go with it, in place.
func (s *search) exchange(chosen, index []int, gains [][]float64) {
	least := s.withGains(chosen, index, gains)
	for helped := true; helped; {
		helped = false
		for i := range chosen {
			for m := range gains[i] {
				for k := max(0, index[i]-window); k <= min(index[i]+window, s.limits.room[i]-1); k++ {
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
	for b, c := range s.clouds {
		d := s.mean(b, index)
		for i, m := range chosen {
			d[i] += gains[i][m]
		}
		worst = max(worst, c.worst(s.beds[b].deviations(d), math.Inf(1)))
	}
	return worst
}
