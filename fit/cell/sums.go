package cell

import (
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"evenpole/capture/record"
	"evenpole/fit/solve"
)

// summary is what the takes of a cell say together.
type summary struct {
	takes          int
	mean, sd, freq float64
	batch          int32 // in words
	first          Instant
	stats          *TakeStats
	lost           []lostTake // takes that were taken back

	from, to    record.Ref // its takes of lowest and highest number
	takenBefore int        // how many rows had taken readings of its power-up back then
}

// lostTake is a take that was taken back: where it stands.
type lostTake struct{ file, line int32 }

// sums sums cells up, one after the other, in the same memory.
type sums struct {
	kept                         []take
	plain, levels, freqs, values []float64
	lines                        []Span
	rows, others                 spans // of cells, and of what is said of their takes
}

// sumUp sums takes up, but for those that were taken back.
func (w *sums) sumUp(takes []take, standing *record.Standing, s *summary) {
	w.kept, w.plain, w.freqs = w.kept[:0], w.plain[:0], w.freqs[:0]
	for i := range takes {
		t := &takes[i]
		if standing.IsTakenBack(t.ref) {
			s.lost = append(s.lost, lostTake{t.file, t.line})
			continue
		}
		w.kept = append(w.kept, *t)
		w.plain = append(w.plain, t.level)
		if t.freq > 0 && solve.Finite(t.freq) {
			w.freqs = append(w.freqs, t.freq)
		}
	}
	if len(w.kept) == 0 {
		return
	}
	w.levels = append(w.levels[:0], w.plain...) // which are sorted
	s.takes, s.batch, s.first = len(w.kept), batchOf(w.kept), firstOf(w.kept)
	s.mean, s.sd = solve.RobustMean(w.levels)
	*s.stats = TakeStats{Top: w.ceilingOf(w.kept), Trend: trendOf(w.kept, s.mean, s.sd)}
	s.stats.Mean, s.stats.SD = solve.MeanStdDev(w.plain)
	if len(w.freqs) > 0 {
		slices.Sort(w.freqs)
		s.freq = solve.Median(w.freqs)
	}
}

// ceilingOf looks for takes that end at one level.
func (w *sums) ceilingOf(takes []take) Ceiling {
	c := Ceiling{Takes: len(takes), OfPeaks: !slices.ContainsFunc(takes, func(t take) bool { return !(t.peak > 0) || !solve.Finite(t.peak) })}
	values := w.values[:0]
	for i := range takes {
		values = append(values, takes[i].loudest(c.OfPeaks))
	}
	slices.Sort(values)
	w.values = values
	c.Value, c.Step = values[len(values)-1], math.Inf(1)
	for i, v := range values[1:] {
		if v > values[i] {
			c.Step = min(c.Step, v-values[i])
		}
	}
	mean, sd := solve.MeanStdDev(values)
	c.Scatter = sd / mean
	w.lines = w.lines[:0]
	for i := range takes {
		if t := &takes[i]; t.loudest(c.OfPeaks) == c.Value {
			c.Reached++
			w.lines = addLine(w.lines, t.file, t.line)
		}
	}
	c.Rows = w.others.kept(w.lines)
	return c
}

// onAllCores does something for each number below n; in order where there are few.
func onAllCores(n int, do func(w *sums, i int)) {
	const share = 256
	workers := min(runtime.GOMAXPROCS(0), (n+share-1)/share)
	var next atomic.Int64
	work := func() {
		var w sums
		for {
			to := int(next.Add(share))
			for i := to - share; i < min(to, n); i++ {
				do(&w, i)
			}
			if to >= n {
				return
			}
		}
	}
	var all sync.WaitGroup
	for range workers {
		all.Go(work)
	}
	all.Wait()
}
