package plan

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat"
)

// every calls f with every choice of one index from each of n lists.
func every(room []int, f func([]int)) {
	index := make([]int, len(room))
	for {
		f(index)
		i := 0
		for ; i < len(room); i++ {
			if index[i]++; index[i] < room[i] {
				break
			}
			index[i] = 0
		}
		if i == len(room) {
			return
		}
	}
}

// exhaustive is the best score there is, by trying everything.
func exhaustive(j *job, tolerance float64) score {
	var best score
	first := true
	every(j.limits.room, func(index []int) {
		if s := j.score(index, tolerance); first || s.less(best) {
			best, first = s, false
		}
	})
	return best
}

func randoms(r *rand.Rand, n int, scale float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = scale * r.NormFloat64()
	}
	return x
}

// foundIndex is the search's answer as grid indices.
func foundIndex(t *testing.T, j *job) []int {
	t.Helper()
	heights, err := j.search()
	if err != nil {
		t.Fatal(err)
	}
	index := make([]int, len(heights))
	for i, h := range heights {
		index[i] = slices.Index(j.limits.grid, h)
		if index[i] < 0 || index[i] >= j.limits.room[i] {
			t.Fatalf("height %g of string %d is not allowed", h, i+1)
		}
	}
	return index
}

func mustJob(t *testing.T, n int, m bench, change func(*job)) *job {
	t.Helper()
	o := order(n, 1.75, 0.25) // 8 heights
	o.Tolerance = 100         // the least spread, whatever it is worth
	j, err := newJob(o, m, certain.withDefaults())
	if err != nil {
		t.Fatal(err)
	}
	if change != nil {
		change(j)
	}
	return j
}

// The least spread of separable predictors is proved against trying
// everything: lines up and down, bent curves, and levels without any order,
// with as many heights for each string as chance gives it.
func TestLeastSpreadIsExact(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for try := range 300 {
		n := 1 + try%4
		m := []bench{line(randoms(r, n, 2), randoms(r, n, 1)), falloff(randoms(r, n, 2)), scattered(r)}[try%3]
		j := mustJob(t, n, m, func(j *job) {
			j.offset = randoms(r, n, 1)
			for i := range j.limits.room {
				j.limits.room[i] = 1 + r.IntN(8)
			}
		})
		got, want := j.score(foundIndex(t, j), math.Inf(1)), exhaustive(j, math.Inf(1))
		if got.less(want) || want.less(got) {
			t.Errorf("try %d, %d strings: got %+v, want %+v", try, n, got, want)
		}
	}
}

// scattered is a predictor whose levels follow no curve, in steps of 0.25 dB so
// that many are equal.
func scattered(r *rand.Rand) bench {
	var level [4][8]float64
	for i := range level {
		for k := range level[i] {
			level[i][k] = 0.25 * float64(r.IntN(16)) / decibel
		}
	}
	return bench{curve: func(i int, h float64) float64 { return level[i][int(math.Round(h/0.25))] }}
}

// Strings that hear their neighbours' poles: no proof, but trying everything
// finds nothing better here.
func TestNeighboursAreFollowed(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 1))
	for try := range 60 {
		n := 2 + try%3
		m := falloff(randoms(r, n, 2))
		m.hears = []float64{-0.03, 0.03, -0.08}[try%3]
		j := mustJob(t, n, m, nil)
		got, want := j.score(foundIndex(t, j), math.Inf(1)), exhaustive(j, math.Inf(1))
		if !same(got.spread, want.spread) {
			t.Errorf("try %d, %d strings: got a spread of %.4f dB, want %.4f", try, n, got.spread, want.spread)
		}
	}
}

// coordinate is a search of another kind, kept for comparison: from a random
// start, one string at a time to its best height until nothing helps.
func coordinate(r *rand.Rand, j *job) score {
	index := make([]int, len(j.limits.room))
	for i, room := range j.limits.room {
		index[i] = r.IntN(room)
	}
	s := j.score(index, math.Inf(1))
	for helped := true; helped; {
		helped = false
		for i := range index {
			for k := range j.limits.room[i] {
				next := slices.Clone(index)
				next[i] = k
				if t := j.score(next, math.Inf(1)); t.less(s) {
					index, s, helped = next, t, true
				}
			}
		}
	}
	return s
}

// On whole pickups, where trying everything is out of the question, no
// coordinate search of many finds less spread.
func TestNoCoordinateSearchBeatsThePlan(t *testing.T) {
	for _, n := range []int{6, 12} {
		for _, hears := range []float64{0, -0.05} {
			r := rand.New(rand.NewPCG(3, uint64(n)))
			m := falloff(randoms(r, n, 1))
			m.hears = hears
			j := mustJob(t, n, m, func(j *job) { j.offset = randoms(r, n, 0.5) })
			got := j.score(foundIndex(t, j), math.Inf(1))
			for range 100 {
				if other := coordinate(r, j); other.spread < got.spread-1e-9 {
					t.Errorf("%d strings, hears %g: a coordinate search found %.4f dB, the plan %.4f", n, hears, other.spread, got.spread)
				}
			}
		}
	}
}

// At the optimum no move of one string and no move of two helps.
func TestNoMoveHelps(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 1))
	m := falloff(randoms(r, 6, 1))
	m.hears = -0.05
	j := mustJob(t, 6, m, nil)
	index := foundIndex(t, j)
	s := j.score(index, math.Inf(1))
	j.moves(index, func(next []int) {
		if j.score(next, math.Inf(1)).less(s) {
			t.Errorf("%v is better than %v", next, index)
		}
	})
}

// When the least spread is out of tolerance and another stagger is not, the
// other one is the plan; when none is, the least spread stands. Trying
// everything knows which.
func TestToleranceComesBeforeSpread(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 1))
	preferred := 0
	for try := range 400 {
		n := 2 + try%3
		j := mustJob(t, n, scattered(r), func(j *job) {
			j.order.Tolerance = 0.2 + r.Float64()
			j.offset = randoms(r, n, 0.3)
			for i := range j.limits.room {
				j.limits.room[i] = 1 + r.IntN(5)
			}
		})
		index := foundIndex(t, j)
		got, want := j.score(index, j.order.Tolerance), exhaustive(j, j.order.Tolerance)
		least := exhaustive(j, math.Inf(1))
		closeTo(t, "excess by the deviations", max(0, worst(t, j, index)-j.order.Tolerance), got.excess, 1e-9)
		switch {
		case want.excess > 0:
			if got = j.score(index, math.Inf(1)); !same(got.spread, least.spread) {
				t.Errorf("try %d: out of reach: got %+v, want the least spread %+v", try, got, least)
			}
		case got.excess > 0:
			t.Errorf("try %d: got %+v, but %+v is within tolerance", try, got, want)
		case got.spread > least.spread+rounding:
			preferred++
		}
	}
	if preferred == 0 {
		t.Error("the least spread was within tolerance every time: nothing was tested")
	}
}

// worst is the worst deviation that is judged of a choice.
func worst(t *testing.T, j *job, index []int) float64 {
	t.Helper()
	got, err := j.judge(j.limits.heights(index))
	if err != nil {
		t.Fatal(err)
	}
	return max(slices.Max(got.Deviation), -slices.Min(got.Deviation))
}

func TestEqualStaggersTakeTheLowestPoles(t *testing.T) {
	j := mustJob(t, 4, line(make([]float64, 4), []float64{1, 1, 1, 1}), nil)
	if got := foundIndex(t, j); !slices.Equal(got, []int{0, 0, 0, 0}) {
		t.Errorf("four equal strings: got %v, want the lowest poles", got)
	}
	j = mustJob(t, 3, line([]float64{0, 0, 0}, []float64{0, 0, 0}), nil)
	if got := foundIndex(t, j); !slices.Equal(got, []int{0, 0, 0}) {
		t.Errorf("poles that do nothing: got %v, want the lowest", got)
	}
}

// A steeper string 2 that starts 1 dB lower: the two meet where 1 dB is made
// up, at 0.5 mm of 2 dB/mm against a pole that cannot move.
func TestPlanByHand(t *testing.T) {
	j := mustJob(t, 2, line([]float64{1, 0}, []float64{0, 2}), nil)
	if got := foundIndex(t, j); !slices.Equal(got, []int{0, 2}) {
		t.Errorf("got %v, want [0 2]", got)
	}
	if m := stat.Mean(j.wanted([]int{0, 2}), nil); math.Abs(m-1) > 1e-12 {
		t.Errorf("both strings at %g dB, want 1", m)
	}
}
