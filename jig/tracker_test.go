package jig

import (
	"math/rand/v2"
	"slices"
	"testing"
)

func holes(t *tracker) (seqs []uint32) {
	for _, h := range t.holes {
		seqs = append(seqs, h.seq)
	}
	return seqs
}

func TestTrackerFollows(t *testing.T) {
	const end = 1<<32 - 1
	for _, c := range []struct {
		name  string
		last  uint32
		take  []uint32
		fresh []bool
		holes []uint32
	}{
		{"in order", 0, []uint32{1, 2, 3}, []bool{true, true, true}, nil},
		{"twice", 0, []uint32{1, 1}, []bool{true, false}, nil},
		{"history", 7, []uint32{5, 7, 8}, []bool{false, false, true}, nil},
		{"gap", 0, []uint32{1, 4}, []bool{true, true}, []uint32{2, 3}},
		{"gap filled late", 0, []uint32{1, 4, 3, 3, 2}, []bool{true, true, true, false, true}, nil},
		{"wrap", end - 1, []uint32{end, 0, 1}, []bool{true, true, true}, nil},
		{"gap over the wrap", end - 1, []uint32{1}, []bool{true}, []uint32{end, 0}},
		{"before the wrap, late", 2, []uint32{end}, []bool{false}, nil},
	} {
		tr := tracker{last: c.last}
		for i, seq := range c.take {
			if got := tr.take(seq); got != c.fresh[i] {
				t.Errorf("%s: take(%d), step %d: fresh = %v", c.name, seq, i+1, got)
			}
		}
		if got := holes(&tr); !slices.Equal(got, c.holes) {
			t.Errorf("%s: missing %v, want %v", c.name, got, c.holes)
		}
	}
}

func TestTrackerGivesUpWhatIsFarBack(t *testing.T) {
	tr := tracker{last: 10}
	missing, lost := tr.use(10 + 1<<30)
	if missing != 1<<30 || lost != 1<<30-window {
		t.Errorf("missing %d, lost %d", missing, lost)
	}
	if from, to, ok := tr.run(); !ok || from != 10+1<<30-window+1 || to != 10+1<<30 {
		t.Errorf("still missing %d to %d", from, to)
	}
	if missing, lost = tr.use(10 + 1<<30); missing != 0 || lost != 0 {
		t.Errorf("the same again: missing %d, lost %d", missing, lost)
	}
	if missing, _ = tr.use(5); missing != 0 {
		t.Errorf("an old number: missing %d", missing)
	}
}

func TestTrackerRuns(t *testing.T) {
	tr := tracker{}
	for _, seq := range []uint32{1, 4, 6} {
		tr.take(seq)
	}
	if from, to, ok := tr.run(); from != 2 || to != 3 || !ok {
		t.Errorf("run = %d, %d, %v", from, to, ok)
	}
	if lost := tr.gone(2, 3); !slices.Equal(lost, []uint32{2, 3}) {
		t.Errorf("gone = %v", lost)
	}
	if from, to, ok := tr.run(); from != 5 || to != 5 || !ok {
		t.Errorf("run = %d, %d, %v", from, to, ok)
	}
	tr.take(5)
	if _, _, ok := tr.run(); ok {
		t.Error("a run, and nothing is missing")
	}
	if tr.use(5000); len(tr.holes) != window {
		t.Errorf("%d missing", len(tr.holes))
	}
}

func TestTrackerRunIsNotTooLong(t *testing.T) {
	tr := tracker{last: 3000}
	tr.want(1, 3000)
	if from, to, _ := tr.run(); from != 1 || to != window {
		t.Errorf("run = %d to %d", from, to)
	}
}

func TestTrackerAsked(t *testing.T) {
	tr := tracker{}
	tr.use(4)
	for i := range 2 {
		if lost := tr.asked(1, 2, 3); lost != nil {
			t.Errorf("ask %d: lost %v", i+1, lost)
		}
	}
	tr.take(1)
	if lost := tr.asked(1, 3, 3); !slices.Equal(lost, []uint32{2}) {
		t.Errorf("lost %v, want the one that was asked for three times", lost)
	}
	if got := holes(&tr); !slices.Equal(got, []uint32{3, 4}) {
		t.Errorf("missing %v", got)
	}
}

func TestTrackerForgotten(t *testing.T) {
	tr := tracker{last: 1000}
	tr.want(700, 760)
	if lost := tr.forgotten(700, 760, 702); len(lost) != 45 || lost[44] != 744 {
		t.Errorf("lost %v, want 700 to 744: what is beyond the window", lost)
	}
	if lost := tr.forgotten(745, 760, 750); len(lost) != 6 || lost[5] != 750 {
		t.Errorf("lost %v, want 745 to 750", lost)
	}
}

func TestTrackerWant(t *testing.T) {
	const end = 1<<32 - 1
	tr := tracker{last: end - 1}
	tr.take(1) // end and 0 are missing
	tr.want(end-2, end)
	tr.want(1, 9) // 2 to 9 have not been made
	if got := holes(&tr); !slices.Equal(got, []uint32{end - 2, end - 1, end, 0, 1}) {
		t.Errorf("missing %v", got)
	}
	tr.want(4, 3)
	if len(tr.holes) != 5 {
		t.Errorf("an empty range: missing %v", holes(&tr))
	}
}

// Whatever order readings come in, and however often, each is fresh once, and
// what has not come is missing.
func TestTrackerCountsOnce(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		start := rng.Uint32()
		tr := tracker{last: start}
		seen := map[uint32]bool{}
		var top uint32
		for range 150 {
			step := 1 + rng.Uint32N(window)
			top = max(top, step)
			if fresh := tr.take(start + step); fresh == seen[step] {
				t.Fatalf("start %d, step %d: fresh = %v", start, step, fresh)
			}
			seen[step] = true
		}
		if got := len(tr.holes) + len(seen); got != int(top) {
			t.Fatalf("start %d: %d missing and %d seen of %d", start, len(tr.holes), len(seen), top)
		}
	}
}
