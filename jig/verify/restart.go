package verify

import (
	"context"
	"fmt"
	"io"
	"time"

	"evenpole/jig"
)

// Restart is how a run has a person switch the jig off and on. The zero value leaves that out.
type Restart struct {
	// Ask tells the person to do it now.
	Ask func()
	// Reopen opens the port again, for one that goes with the jig's power.
	Reopen func() (io.ReadWriteCloser, error)
}

// restartWithin is how long the person has.
const restartWithin = 2 * time.Minute

func (r Restart) clause() clause {
	c := clause{"restart", sequence, "switched off and on: a new boot, seq 0, and nothing of the old boot is there", r.look}
	if r.Ask == nil {
		c.look = func(context.Context, *session) (string, Result) {
			return "left out: nobody was asked to switch the jig off and on", Skipped
		}
	}
	return c
}

func (r Restart) look(ctx context.Context, s *session) (string, Result) {
	was, last := s.ident.Boot, s.last
	r.Ask()
	if !s.awaitBoot(ctx, was, r.Reopen) {
		return fmt.Sprintf("still boot %v after %v", was, restartWithin), Fail
	}
	s.startOver()
	t, _ := s.ask(ctx, jig.Command{Verb: jig.VerbIdent})
	for _, h := range t.lines {
		if h.line.Kind == jig.KindIdent {
			s.ident = h.line.Ident
		}
	}
	s.silence(ctx, alive) // an S line says which seq was used last
	old := jig.Command{Verb: jig.VerbResend, Boot: was, From: last, To: last}
	t, old = s.ask(ctx, old)
	ok := s.ident.Boot != was && s.numbered && s.last == 0 && gone(&t, old.ID, last)
	return fmt.Sprintf("boot %v, then %v; last seq %d; of the old boot: %s", was, s.ident.Boot, s.last, t.words()), verdict(ok)
}

// awaitBoot waits for a line of another boot, on the port or on the one that comes after it.
func (s *session) awaitBoot(ctx context.Context, was jig.Boot, reopen func() (io.ReadWriteCloser, error)) bool {
	end := time.NewTimer(restartWithin)
	defer end.Stop()
	for {
		select {
		case h := <-s.in:
			switch {
			case h.err != nil:
				if !s.reopen(ctx, end.C, reopen) {
					return false
				}
			case h.line.Kind == jig.KindIdent && h.line.Ident.Boot != was, h.line.Kind == jig.KindStatus && h.line.Status.Boot != was:
				return true
			}
		case <-end.C:
			return false
		case <-ctx.Done():
			s.err = ctx.Err()
			return false
		}
	}
}

// reopen tries until the port is there again.
func (s *session) reopen(ctx context.Context, end <-chan time.Time, open func() (io.ReadWriteCloser, error)) bool {
	s.port.Close()
	for open != nil {
		if port, err := open(); err == nil {
			s.plug(port)
			return true
		}
		select {
		case <-end:
			return false
		case <-ctx.Done():
			return false
		case <-time.After(prompt):
		}
	}
	return false
}

// startOver forgets what a power-up does not outlive.
func (s *session) startOver() {
	s.ident, s.synced, s.numbered, s.last, s.ms = jig.Ident{}, false, false, 0, 0
	s.status = heard{}
	clear(s.known)
	clear(s.owing)
}
