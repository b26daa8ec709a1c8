package main

import (
	"bytes"
	"testing"
	"testing/synctest"
	"time"
)

// What takes no longer than a second is not told of. From then on every step is, the one
// that it is at first.
func TestTellLate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var said bytes.Buffer
		step, done := (&env{stderr: &said}).tellLate()
		step("one")
		time.Sleep(patience / 2)
		step("two")
		if synctest.Wait(); said.Len() > 0 {
			t.Errorf("told of what takes no time: %q", &said)
		}
		time.Sleep(patience)
		step("three")
		time.Sleep(patience)
		done()
		if want := "still at work: two\nstill at work: three\n"; said.String() != want {
			t.Errorf("got %q, want %q", &said, want)
		}
	})
}

func TestTellNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var said bytes.Buffer
		_, done := (&env{stderr: &said}).tellLate()
		time.Sleep(2 * patience)
		if done(); said.Len() > 0 {
			t.Errorf("told %q", &said)
		}
	})
}
