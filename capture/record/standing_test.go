package record

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"evenpole/capture/record/numbers"
)

// named is a row of reading n with a status.
func named(n uint32, status Status) Reading {
	return Reading{Jig: "j", Boot: "0000000A", Seq: n, HasSeq: true, Status: status}
}

func TestWhatCounts(t *testing.T) {
	nameless, unbooted := Reading{}, Reading{Jig: "j", HasSeq: true, Seq: 1}
	otherBoot := named(1, OK)
	otherBoot.Boot = "0000000B"
	for _, c := range []struct {
		what string
		rows []Reading
		want []Reason
	}{
		{"one row", []Reading{named(1, OK)}, []Reason{Counts}},
		{"an empty status", []Reading{named(1, "")}, []Reason{Counts}},
		{"a flagged take", []Reading{named(1, Clipped)}, []Reason{Reason(Clipped)}},
		{"the first of several", []Reading{named(1, OK), named(2, OK), named(1, OK), named(1, Clipped)}, []Reason{Counts, Counts, Repeated, Repeated}},
		{"of another power-up", []Reading{named(1, OK), otherBoot}, []Reason{Counts, Counts}},
		{"rows without a name", []Reading{nameless, nameless, unbooted, unbooted}, []Reason{Counts, Counts, Counts, Counts}},
		{"taken back", []Reading{named(1, OK), named(2, OK), named(1, Retracted)}, []Reason{TakenBack, Counts, TakesBack}},
		{"a flagged one taken back", []Reading{named(1, Clipped), named(1, Retracted)}, []Reason{TakenBack, TakesBack}},
		{"repeated, then taken back", []Reading{named(1, OK), named(1, OK), named(1, Retracted)}, []Reason{TakenBack, Repeated, TakesBack}},
		{"filed anew", []Reading{named(1, OK), named(1, Retracted), named(1, OK), named(1, OK)}, []Reason{TakenBack, TakesBack, Counts, Repeated}},
		{"filed anew, and taken back again", []Reading{named(1, OK), named(1, Retracted), named(1, OK), named(1, Retracted)}, []Reason{TakenBack, TakesBack, TakenBack, TakesBack}},
		{"files in another order", []Reading{named(1, Retracted), named(1, OK), named(1, OK)}, []Reason{TakesBack, TakenBack, Repeated}},
		{"taken back by a row without a name", []Reading{nameless, {Status: Retracted}}, []Reason{Counts, TakesBack}},
	} {
		got, err := Sift(rowsOf(c.rows), nil)
		if err != nil {
			t.Fatal(err)
		}
		var why []Reason
		for _, x := range got {
			why = append(why, x.Why)
		}
		if !slices.Equal(why, c.want) {
			t.Errorf("%s: got %q, want %q", c.what, why, c.want)
		}
	}
}

func rowsOf(rows []Reading) func(func(Reading, error) bool) {
	return func(yield func(Reading, error) bool) {
		for _, r := range rows {
			if !yield(r, nil) {
				return
			}
		}
	}
}

// Field readings follow the same rule, and share their numbers with readings.
func TestStandingOfBothFiles(t *testing.T) {
	var s Standing
	r := named(7, OK)
	f := FieldReading{Jig: "j", Boot: "0000000A", Seq: 7, HasSeq: true}
	if _, why := s.Meet(&r); why != Counts {
		t.Errorf("the reading: %q", why)
	}
	ref, why := s.Meet(&f)
	if why != Repeated || s.IsTakenBack(ref) {
		t.Errorf("the field reading of the same number: %q", why)
	}
	f.Status = Retracted
	if _, why := s.Meet(&f); why != TakesBack || !s.IsTakenBack(ref) || s.Stands(ID{"j", "0000000A", 7}) {
		t.Errorf("taken back: %q", why)
	}
}

// The rule by its plainest form: each reading's rows in order, one by one.
func TestStandingAgainstAPlainList(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for range 200 {
		var s Standing
		type plain struct {
			row    int // that counts; -1 for none
			always bool
			seen   bool
		}
		by := map[uint32]*plain{}
		counts := map[int]bool{}
		refs := map[int]Ref{}
		for i := range 60 {
			r := named(uint32(rng.IntN(12)), OK)
			if rng.IntN(3) == 0 {
				r.Status = Retracted
			}
			p := by[r.Seq]
			if p == nil {
				p = &plain{row: -1}
				by[r.Seq] = p
			}
			switch {
			case r.Status == Retracted:
				p.always = p.always || !p.seen
				if p.row >= 0 {
					counts[p.row] = false
				}
				p.row = -1
			case p.always:
			case p.row < 0:
				p.row, counts[i] = i, true
			}
			p.seen = true
			ref, why := s.Meet(&r)
			if why == Counts {
				refs[i] = ref
			}
		}
		for i := range 60 {
			ref, met := refs[i]
			if got := met && !s.IsTakenBack(ref); got != counts[i] {
				t.Fatalf("row %d: counts %v, by the plain list %v", i, got, counts[i])
			}
		}
	}
}

// A set of numbers is the same as a map, however they come.
func TestNumbersAgainstAMap(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 50 {
		var s numbers.Set
		slow := map[uint32]bool{}
		for range 200 {
			n := uint32(rng.IntN(120))
			if rng.IntN(4) == 0 {
				n = -n
			}
			if s.Has(n) != slow[n] || s.Add(n) == slow[n] {
				t.Fatalf("number %d: in %v", n, slow[n])
			}
			slow[n] = true
		}
	}
}

// Memory grows with gaps, not with rows.
func TestNumbersInOrderAreOneRun(t *testing.T) {
	var s numbers.Set
	for n := range uint32(10000) {
		s.Add(n + 5)
	}
	if len(s) != 1 {
		t.Errorf("%d runs: %s", len(s), fmt.Sprint(s[:min(len(s), 3)]))
	}
}
