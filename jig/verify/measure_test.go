package verify

import (
	"slices"
	"testing"
)

func TestOneTakeIsNotPlural(t *testing.T) {
	x := &Measured{Takes: 10, TakesWanted: 1, ToleranceDB: 1}
	const want = "a tolerance of +- 1.00 dB wants 1 take a string, for an uncertainty U of at most 0.30 dB (30 % of it)"
	if got := x.Words(); !slices.Contains(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}
