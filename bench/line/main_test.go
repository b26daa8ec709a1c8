package main

import (
	"errors"
	"strings"
	"testing"
)

// A short run over a line as bad as the long one's. A capture that lost,
// doubled or altered a reading would fail it.
func TestRun(t *testing.T) {
	var out strings.Builder
	err := run(&out, 150, wire{bit: 0.001, line: 0.01, seed: 2})
	if errors.Is(err, errors.ErrUnsupported) {
		t.Skip(err)
	}
	if err != nil {
		t.Error(err)
	}
	t.Log("\n" + out.String())
	for _, name := range []string{"sim", "jigtest"} {
		if !strings.Contains(out.String(), name) {
			t.Errorf("nothing about %s", name)
		}
	}
}
