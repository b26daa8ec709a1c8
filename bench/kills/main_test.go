package main

import (
	"errors"
	"strings"
	"testing"
	"time"

	"evenpole/bench/truth"
	"evenpole/jig/sim"
)

func TestRun(t *testing.T) {
	var out strings.Builder
	err := run(&out, options{kills: 5, within: 400 * time.Millisecond, seed: 3, faults: sim.Faults{BitFlip: 0.01}})
	if errors.Is(err, errors.ErrUnsupported) {
		t.Skip(err)
	}
	if err != nil {
		t.Error(err)
	}
	t.Log("\n" + out.String())
}

func TestLost(t *testing.T) {
	row := func(mode string, str, rms int) truth.Row {
		return truth.Row{Reading: truth.Reading{Mode: mode, String: str, RMS: rms}}
	}
	rows := []truth.Row{row("Q", 1, 300), row("P", 1, 9000), row("P", 1, 9100), row("P", 2, 9000)}
	q, a, b, c := "kept quiet, string 1: 0.300 mV, 1 of 3 good", "kept string 1: 9.000 mV, 0 of 4 good (clipped)",
		"kept string 1: 9.100 mV, 1 of 4 good", "kept string 2: 9.000 mV, 1 of 4 good"
	for _, x := range []struct {
		kept []string
		want int
	}{
		{[]string{q, a, b, c}, 0},
		{[]string{a, c}, 0}, // two were not printed any more
		{[]string{b, a}, 1}, // not in this order
		{[]string{c, c}, 1}, // once
		{[]string{"kept string 1: 9.001 mV, 1 of 4 good"}, 1}, // otherwise
	} {
		if got := lost(x.kept, rows); got != x.want {
			t.Errorf("%q: %d lost, want %d", x.kept, got, x.want)
		}
	}
}
