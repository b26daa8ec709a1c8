package batch

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenpole/capture/record"
)

// magnetsOf are magnets of given fields, numbered from 1.
func magnetsOf(fields ...float64) []Magnet {
	var out []Magnet
	for i, f := range fields {
		out = append(out, Magnet{Name: fmt.Sprint(i + 1), Field: f})
	}
	return out
}

// least is the least sum of squares over all ways to make sets of size of x, by
// trying every one: the first value left either stays over or takes each choice of
// companions.
func least(x []float64, size, over int) float64 {
	if len(x) == 0 {
		return 0
	}
	best := math.Inf(1)
	if over > 0 {
		best = least(x[1:], size, over-1)
	}
	if len(x) < size {
		return best
	}
	var choose func(from int, set []int)
	choose = func(from int, set []int) {
		if len(set) == size {
			var in, out []float64
			for i, v := range x {
				if slices.Contains(set, i) {
					in = append(in, v)
				} else {
					out = append(out, v)
				}
			}
			best = min(best, sumOfSquares(in)+least(out, size, over))
			return
		}
		for i := from; i < len(x); i++ {
			choose(i+1, append(set[:len(set):len(set)], i))
		}
	}
	choose(1, []int{0})
	return best
}

func TestMatchIsTheOptimum(t *testing.T) {
	r := rand.New(rand.NewPCG(15, 16))
	for _, c := range [][2]int{{6, 2}, {7, 2}, {8, 3}, {9, 4}, {10, 3}, {10, 4}, {11, 3}} {
		for range 5 {
			x := normals(r, c[0], 240, 8)
			got, err := Match(t.Context(), magnetsOf(x...), c[1])
			if err != nil {
				t.Fatal(err)
			}
			near(t, fmt.Sprint(c), got.Within, least(x, c[1], c[0]%c[1]), 1e-9)
		}
	}
}

// Every magnet is in one place, whatever the order and the sizes.
func TestMatchUsesEveryMagnet(t *testing.T) {
	r := rand.New(rand.NewPCG(17, 18))
	for _, size := range []int{4, 6, 7, 8} {
		magnets := magnetsOf(normals(r, 600, 240, 8)...)
		s, err := Match(t.Context(), magnets, size)
		if err != nil {
			t.Fatal(err)
		}
		if len(s.Sets) != 600/size || len(s.Left) != 600%size {
			t.Errorf("size %d: %d sets, %d left over", size, len(s.Sets), len(s.Left))
		}
		seen := map[string]int{}
		for _, set := range s.Sets {
			for _, name := range set.Magnets {
				seen[name]++
			}
		}
		for _, name := range s.Left {
			seen[name]++
		}
		if len(seen) != 600 {
			t.Errorf("size %d: %d magnets named", size, len(seen))
		}
		r.Shuffle(len(magnets), func(i, j int) { magnets[i], magnets[j] = magnets[j], magnets[i] })
		again, err := Match(t.Context(), magnets, size)
		if err != nil || !slices.Equal(again.Sets[0].Magnets, s.Sets[0].Magnets) {
			t.Errorf("size %d: another order gives other sets", size)
		}
	}
}

func TestMatchLeavesTheOddOnesOver(t *testing.T) {
	magnets := magnetsOf(100, 100.1, 250, 100.2, 150, 151, 152)
	s, err := Match(t.Context(), magnets, 3)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(s.Left, []string{"3"}) || !slices.Equal(s.Sets[1].Magnets, []string{"5", "6", "7"}) {
		t.Errorf("got %+v", s)
	}
	magnets[0].Reversed, magnets[1].Breach = true, "below"
	if s, err = Match(t.Context(), magnets, 2); err != nil || !slices.Equal(s.Unfit, []string{"1", "2"}) || len(s.Sets) != 2 {
		t.Errorf("got %+v, %v", s, err)
	}
}

// What true strengths scatter by within sets sorted by measured ones.
func TestMatchTrueScatter(t *testing.T) {
	r := rand.New(rand.NewPCG(29, 30))
	truth := map[string]float64{}
	var rows []record.FieldReading
	for i := range 600 {
		name := fmt.Sprint(i)
		truth[name] = 240 + 8*r.NormFloat64()
		for range 2 {
			rows = append(rows, take("s", name, truth[name]+4*r.NormFloat64(), 0.5))
		}
	}
	s, err := characterise(t, Options{}, rows...).Match(t.Context(), 6)
	if err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for _, set := range s.Sets {
		var x []float64
		for _, name := range set.Magnets {
			x = append(x, truth[name])
		}
		sum += sumOfSquares(x)
	}
	near(t, "true scatter", float64(s.TrueSD), math.Sqrt(sum/float64(5*len(s.Sets))), 0.08)
	if one, err := characterise(t, Options{}, rows[0], rows[2]).Match(t.Context(), 2); err != nil || one.TrueSD.Known() {
		t.Errorf("one take a magnet: got %v, %v", one, err)
	}
	if _, err := characterise(t, Options{}, rows...).Match(t.Context(), 601); err == nil {
		t.Error("a set of more magnets than there are")
	}
}

func TestMatchRefusals(t *testing.T) {
	for _, size := range []int{-1, 0, 1, 4} {
		var r *Refusal
		if _, err := Match(t.Context(), magnetsOf(1, 2, 3), size); !errors.As(err, &r) {
			t.Errorf("size %d: got %v, want a refusal", size, err)
		}
	}
}

func BenchmarkMatch600(b *testing.B) {
	magnets := magnetsOf(normals(rand.New(rand.NewPCG(19, 20)), 600, 240, 8)...)
	for b.Loop() {
		if _, err := Match(b.Context(), magnets, 6); err != nil {
			b.Fatal(err)
		}
	}
}

// Sorting into sets ends with its context.
func TestMatchEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if s, err := Match(ctx, magnetsOf(1, 2, 3, 4), 2); !errors.Is(err, context.Canceled) || s != nil {
		t.Errorf("got %v, %v", s, err)
	}
}
