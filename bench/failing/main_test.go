package main

import (
	"errors"
	"strings"
	"testing"
)

func TestRun(t *testing.T) {
	var out strings.Builder
	err := run(&out, options{cases: 15})
	if errors.Is(err, errors.ErrUnsupported) {
		t.Skip(err)
	}
	if err != nil {
		t.Error(err)
	}
	t.Log("\n" + out.String())
}
