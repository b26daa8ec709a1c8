package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"evenpole/capture/record"
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

// Of steps that come one upon the other some are told, and none twice.
func TestTellNoMoreThanOnceASecond(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var said bytes.Buffer
		_, err := late(t.Context(), &env{stderr: &said}, func(ctx context.Context) (int, error) {
			for i := range 2500 {
				record.Tell(ctx, "row %d", i)
				time.Sleep(patience / 1000)
			}
			time.Sleep(3 * patience)
			return 0, nil
		})
		if lines := strings.Count(said.String(), "\n"); err != nil || lines != 3 || !strings.HasSuffix(said.String(), "still at work: row 2499\n") {
			t.Errorf("told %q, %v", &said, err)
		}
	})
}

func TestFewNotes(t *testing.T) {
	notes := strings.Split(strings.Repeat("note,", 30), ",")[:30]
	if got := few(notes); len(got) != 21 || got[20] != "and 10 more pickups" || len(few(notes[:20])) != 20 {
		t.Errorf("%q", got)
	}
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
