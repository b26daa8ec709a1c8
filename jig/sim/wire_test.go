package sim

import (
	"bytes"
	"math/bits"
	"strings"
	"testing"
)

func TestNoise(t *testing.T) {
	const lines = 2000
	line := []byte("S,4D1F00C2,20,191000*E72BF6C2\n")
	pass := func(f Faults) []byte {
		n := noise{faults: f, random: source(1, "test")}
		return n.pass(nil, bytes.Repeat(line, lines))
	}
	if got := pass(Faults{}); !bytes.Equal(got, bytes.Repeat(line, lines)) {
		t.Error("a wire without faults changes something")
	}
	// Five standard deviations of a binomial count of 2000 at one in ten are 67.
	near := func(name string, got int) {
		if got < 133 || got > 267 {
			t.Errorf("%s: %d of 2000, want about 200", name, got)
		}
	}
	near("lost lines", lines-bytes.Count(pass(Faults{LoseLine: 0.1}), line))
	near("doubled lines", bytes.Count(pass(Faults{DoubleLine: 0.1}), line)-lines)
	near("lost bytes", len(line)*lines-len(pass(Faults{LoseByte: 0.1})))
	near("doubled bytes", len(pass(Faults{DoubleByte: 0.1}))-len(line)*lines)
	flipped := 0
	for i, c := range pass(Faults{BitFlip: 0.1}) {
		flipped += bits.OnesCount8(c ^ line[i%len(line)])
	}
	near("flipped bits", flipped)
	flipped = 0
	rate := 0.1 / float64(8*len(line)) // a bit a line in ten
	for i, c := range pass(Faults{BitError: rate}) {
		flipped += bits.OnesCount8(c ^ line[i%len(line)])
	}
	near("wrong bits", flipped)
}

func TestNoisePutsLinesTogether(t *testing.T) {
	n := noise{random: source(1, "test")}
	if got := n.pass(nil, []byte("C,1,ID")); len(got) != 0 {
		t.Errorf("half a line arrives as %q", got)
	}
	if got := n.pass(nil, []byte("ENT\nC,2")); string(got) != "C,1,IDENT\n" {
		t.Errorf("got %q", got)
	}
	if got := n.pass(nil, []byte(strings.Repeat("x", maxRest))); len(got) != maxRest+3 {
		t.Errorf("%d bytes of a line that does not end arrive, want %d", len(got), maxRest+3)
	}
}
