package main

import (
	"bytes"
	"fmt"
	"io"
	"maps"
	"strings"
	"testing"

	"evenpole/capture"
	"evenpole/jig"
	"evenpole/profiles"
	"evenpole/shop"
)

// However much a jig misbehaves, what is said of it fits a screen. Every restart is said, and
// of each way in which lines are bad what was wrong with the first ten.
func TestLineEvents(t *testing.T) {
	var said bytes.Buffer
	hear := (&env{stderr: &said}).lineEvents()
	for range 1_000_000 {
		hear(jig.Event{Kind: jig.EventBad, Flaw: jig.WrongCRC, Text: "bad line"})
		hear(jig.Event{Kind: jig.EventOther, Text: "not waited for: A,7"})
	}
	hear(jig.Event{Kind: jig.EventBad, Flaw: jig.TooLong, Text: "long line"})
	for range 3 {
		hear(jig.Event{Kind: jig.EventRestart, Text: "jig restarted"})
	}
	counts := map[string]int{}
	for line := range strings.Lines(said.String()) {
		counts[strings.TrimSpace(line)]++
	}
	want := map[string]int{"line: bad line": 9, "line: not waited for: A,7": 1, "line: long line": 1, "line: jig restarted": 3}
	for n := 10; n <= 1_000_000; n *= 10 {
		want[fmt.Sprintf("line: bad line; number %d of its kind", n)] = 1
		want[fmt.Sprintf("line: not waited for: A,7; number %d of its kind", n)] = 1
	}
	if !maps.Equal(counts, want) {
		t.Errorf("said:\n%s", &said)
	}
}

// What was wrong with bad lines is counted by reason at the end, as text and as JSON.
func TestBadLinesAreCounted(t *testing.T) {
	stats := jig.Stats{Bad: map[jig.Flaw]int{jig.Malformed: 1, jig.TooLong: 2}}
	for _, c := range []struct {
		json bool
		want string
	}{
		{false, "on the line: 3 bad lines (2 too long, 1 malformed), 0 readings fetched again from the jig"},
		{true, `"bad_lines": [ { "reason": "too long", "count": 2 }, { "reason": "malformed", "count": 1 } ]`},
	} {
		var said bytes.Buffer
		e := &env{stdout: &said, stderr: io.Discard, json: c.json}
		if err := e.captured(&capture.Result{Session: "s001", Kept: 1}, stats, 0, &profiles.Mount{}, shop.NewLive(&profiles.Mount{})); err != nil {
			t.Fatal(err)
		}
		if got := strings.Join(strings.Fields(said.String()), " "); !strings.Contains(got, c.want) {
			t.Errorf("got %s\nwant %s", got, c.want)
		}
	}
}
