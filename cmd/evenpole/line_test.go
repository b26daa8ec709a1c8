package main

import (
	"bytes"
	"strings"
	"testing"

	"evenpole/jig"
)

// However much a jig misbehaves, what is said of it fits a screen; every restart is said.
func TestLineEvents(t *testing.T) {
	var said bytes.Buffer
	hear := (&env{stderr: &said}).lineEvents()
	for range 1_000_000 {
		hear(jig.Event{Kind: jig.EventBad, Text: "bad line"})
		hear(jig.Event{Kind: jig.EventOther, Text: "not waited for: A,7"})
	}
	for range 3 {
		hear(jig.Event{Kind: jig.EventRestart, Text: "jig restarted"})
	}
	lines := strings.Split(strings.TrimSpace(said.String()), "\n")
	if len(lines) != 7+7+3 || lines[0] != "line: bad line" || lines[2] != "line: bad line; number 10 of its kind" {
		t.Errorf("%d lines said:\n%s", len(lines), &said)
	}
}
