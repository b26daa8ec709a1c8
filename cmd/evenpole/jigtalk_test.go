package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"evenpole/jig"
)

// deafPort is a port whose calls do not return: a driver that hangs.
type deafPort struct {
	say    chan []byte   // what Read returns, one by one
	writes bool          // Write returns
	never  chan struct{} // nothing ever comes of it
}

func (p *deafPort) Read(b []byte) (int, error) { return copy(b, <-p.say), nil }

func (p *deafPort) Write(b []byte) (int, error) {
	if !p.writes {
		<-p.never
	}
	return len(b), nil
}

func (p *deafPort) Close() error {
	<-p.never
	return nil
}

// talkTo talks to a port that says lines, a second after each other, and then
// nothing. It returns how long that took and what was said of it.
func talkTo(ctx context.Context, writes bool, o talkOptions, lines ...string) (took time.Duration, out string, err error) {
	p := &deafPort{make(chan []byte), writes, make(chan struct{})}
	done := make(chan struct{})
	go func() {
		for _, line := range lines {
			select {
			case <-time.After(time.Second):
			case <-done:
				return
			}
			select {
			case p.say <- []byte(line):
			case <-done:
				return
			}
		}
	}()
	defer func() { // lets what hangs go, as the end of a process does
		close(done)
		close(p.never)
		close(p.say)
	}()
	var b bytes.Buffer
	began := time.Now()
	err = talk(ctx, &env{stdout: &b, stderr: io.Discard}, p, o)
	return time.Since(began), b.String(), err
}

func TestTalkToASilentPort(t *testing.T) {
	for name, writes := range map[string]bool{"nothing is heard": true, "nothing is taken": false} {
		synctest.Test(t, func(t *testing.T) {
			took, out, err := talkTo(t.Context(), writes, talkOptions{port: "p"})
			var h *hinted
			if took != silence || !errors.As(err, &h) || len(h.hints) != 1 || err.Error() != "port p: no good line for 5s" {
				t.Errorf("%s: %v after %v", name, err, took)
			}
			if !strings.HasPrefix(out, "> ") {
				t.Errorf("%s: %q", name, out)
			}
		})
	}
}

// Rubbish is shown, and is no sign of a jig; a good line is.
func TestTalkToAPortThatSpeaks(t *testing.T) {
	good := string((&jig.Command{ID: 1, Verb: jig.VerbIdent}).AppendLine(nil))
	synctest.Test(t, func(t *testing.T) {
		took, out, err := talkTo(t.Context(), true, talkOptions{port: "p"}, "rubbish\n", good, "rubbish\n")
		if err == nil || took != 2*time.Second+silence || strings.Count(out, "! ") != 2 || strings.Count(out, "< ") != 1 {
			t.Errorf("%v after %v: %s", err, took, out)
		}
	})
	synctest.Test(t, func(t *testing.T) {
		took, out, err := talkTo(t.Context(), true, talkOptions{port: "p", lines: 2}, "rubbish\n", good, good)
		if err != nil || took != 2*time.Second || strings.Count(out, "\n") != 3 {
			t.Errorf("%v after %v: %s", err, took, out)
		}
	})
}

// Ctrl-C ends it at once, whatever the port is at.
func TestTalkIsInterrupted(t *testing.T) {
	for _, writes := range []bool{true, false} {
		synctest.Test(t, func(t *testing.T) {
			ctx, cancel := context.WithTimeout(t.Context(), 1500*time.Millisecond)
			defer cancel()
			if took, _, err := talkTo(ctx, writes, talkOptions{port: "p"}); err != nil || took != 1500*time.Millisecond {
				t.Errorf("%v after %v", err, took)
			}
		})
	}
}
