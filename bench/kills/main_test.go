package main

import (
	"errors"
	"strings"
	"testing"
	"time"

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
