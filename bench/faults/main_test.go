package main

import (
	"io"
	"strings"
	"testing"
)

// A few shops: every fault is named nine times in ten over all, none below six in
// ten, and sound pickups are mostly left alone. The program itself tries more.
func TestFaultsAreNamed(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates shops")
	}
	all, err := measure(io.Discard, 100, 6)
	if err != nil {
		t.Fatal(err)
	}
	made, named := 0, 0
	for _, f := range faults {
		c := all[f.name]
		made, named = made+c.made, named+c.named
		if c.made < 3 || 10*c.named < 6*c.made {
			t.Errorf("%s: named %d of %d", f.name, c.named, c.made)
		}
	}
	if 10*named < 9*made {
		t.Errorf("named %d of %d", named, made)
	}
}

func TestRun(t *testing.T) {
	var b strings.Builder
	if err := run(&b, io.Discard, 7, 1); err != nil {
		t.Fatal(err)
	}
	for _, f := range faults {
		if !strings.Contains(b.String(), f.name) {
			t.Errorf("lacks %q in %s", f.name, b.String())
		}
	}
}
