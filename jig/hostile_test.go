package jig

import (
	"context"
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// A jig that misbehaves with good CRCs: whatever it sends, a call comes to its end, and
// what was kept of it is little.
func TestHostileJig(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for name, c := range map[string]struct {
		send func(p *peer, n uint32) // the nth time
		why  string
	}{
		"random status":                       {func(p *peer, n uint32) { p.status(random.Uint32()) }, "sequence numbers for which there was no command"},
		"readings of the command without end": {func(p *peer, n uint32) { p.reading(n, 1) }, "sequence numbers for which there was no command"},
		"readings of another string":          {func(p *peer, n uint32) { p.reading(n, 2) }, "sequence numbers for which there was no command"},
		"gaps":                                {func(p *peer, n uint32) { p.reading(200*n, 1) }, "sequence numbers for which there was no command"},
		"fields":                              {func(p *peer, n uint32) { p.say(Field{Boot: p.boot, Seq: n, Position: 1, Take: 1}) }, "sequence numbers for which there was no command"},
		"answers to other commands":           {func(p *peer, n uint32) { p.say(Answer{n + 1<<31, Done, ""}) }, "PLUCK,1,3: no progress for 1m0s"},
		"the same reading again":              {func(p *peer, n uint32) { p.reading(1, 1) }, "PLUCK,1,3: no progress for 1m0s"},
		"commands":                            {func(p *peer, n uint32) { p.say(Command{ID: n, Verb: VerbStop}) }, "PLUCK,1,3: no progress for 1m0s"},
		"an empty queue that is full":         {func(p *peer, n uint32) { p.say(Answer{n, Busy, ""}); p.status(0) }, "PLUCK,1,3: no progress for 1m0s"},
	} {
		t.Run(name, func(t *testing.T) {
			onConn(t, func(p *peer) {
				go p.ignore()
				for n := uint32(1); ; n++ {
					select {
					case <-p.stop:
						return
					case <-time.After(time.Millisecond):
						c.send(p, n)
					}
				}
			}, func(t *testing.T, conn *Conn) {
				var r record
				_, err := pluck(t, conn, &r, 3)
				failed(t, err, ErrUnresponsive)
				if !strings.Contains(err.Error(), c.why) {
					t.Errorf("got %v", err)
				}
				if n, holes := len(r.seqs), len(conn.tracker.holes); n > slack+6+1 || holes > slack+6+window {
					t.Errorf("%d readings handed on, %d missing ones in mind", n, holes)
				}
			})
		})
	}
}

// endless is a port that always has a line more, and more than one can take.
type endless struct{ line []byte }

func (e endless) Read(p []byte) (n int, err error) {
	for n+len(e.line) <= len(p) {
		n += copy(p[n:], e.line)
	}
	return n, nil
}
func (e endless) Write(p []byte) (int, error) { return len(p), nil }
func (e endless) Close() error                { return nil }

// A port that never falls silent does not keep a call from ending with its context.
func TestEndlessPort(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	heard := 0
	event := func(Event) {
		if heard++; heard == inboxSize {
			cancel()
		}
	}
	port := endless{Answer{7, Done, ""}.AppendLine(nil)}
	if _, err := Attach(ctx, port, "test port", Options{Event: event, FirstID: 100}); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}
