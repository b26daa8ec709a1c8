package jig

import (
	"context"
	"errors"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

func TestAttach(t *testing.T) {
	onLine(t, func(p *peer) {
		p.raw([]byte("\x00\xff garbage from a power-up\n"))
		p.status(40) // the readings of a host that died
		stop := p.want(VerbStop)
		p.reading(42, 1)
		p.say(Answer{ID: 7, Code: Stopped}) // its command
		p.say(bench)                        // for its IDENT
		p.status(42)
		p.done(stop)
		ask := p.want(VerbIdent)
		if ask.ID == stop.ID {
			p.t.Errorf("id %d twice", ask.ID)
		}
		p.status(42) // IDENT has not been answered: this settles nothing
		p.reading(43, 1)
		p.say(bench)
		p.done(ask)
		p.status(43)
	}, func(t *testing.T, port net.Conn) {
		c, err := Attach(t.Context(), port, "test port", Options{})
		if err != nil {
			t.Fatal(err)
		}
		if c.Ident() != bench || c.Last() != 43 {
			t.Errorf("ident %+v, last %d", c.Ident(), c.Last())
		}
		s := c.Stats()
		if s.Stray != 1 || s.Bad[Unframed] != 1 || s.Good != 11 {
			t.Errorf("stats %+v", s)
		}
		c.Close()
	})
}

func TestAttachOverALossyLine(t *testing.T) {
	onLine(t, func(p *peer) {
		first := p.want(VerbStop) // its answer is lost
		second := p.want(VerbStop)
		if second.ID != first.ID {
			p.t.Errorf("STOP came with ids %d and %d", first.ID, second.ID)
		}
		p.done(second)
		ask := p.want(VerbIdent) // the I line is lost
		p.done(ask)
		again := p.want(VerbIdent)
		if again.ID == ask.ID {
			p.t.Error("IDENT with an id that the jig has answered")
		}
		p.fail(again, Busy, "queue full")
		p.want(VerbIdent)
		p.say(bench)
		p.status(5)
	}, func(t *testing.T, port net.Conn) {
		c, err := Attach(t.Context(), port, "test port", Options{})
		if err != nil {
			t.Fatal(err)
		}
		if c.Last() != 5 {
			t.Errorf("last %d", c.Last())
		}
		c.Close()
	})
}

// A jig that restarts while the host attaches is asked again.
func TestAttachDuringARestart(t *testing.T) {
	onLine(t, func(p *peer) {
		p.done(p.want(VerbStop))
		ask := p.want(VerbIdent)
		p.say(bench)
		p.done(ask)
		p.boot = boot2
		p.status(0)
		ask = p.want(VerbIdent)
		id := bench
		id.Boot = boot2
		p.say(id)
		p.done(ask)
		p.status(0)
	}, func(t *testing.T, port net.Conn) {
		c, err := Attach(t.Context(), port, "test port", Options{})
		if err != nil {
			t.Fatal(err)
		}
		if c.Ident().Boot != boot2 {
			t.Errorf("boot %s", c.Ident().Boot)
		}
		c.Close()
	})
}

// Each of these makes Attach fail, and the port is closed then.
func TestAttachFails(t *testing.T) {
	for _, c := range []struct {
		name   string
		script func(*peer)
		want   error
		text   string
	}{
		{"silent", func(p *peer) {}, ErrSilent, `port "test port": jig is silent: no good line for 5s`},
		{"wrong rate", func(p *peer) { p.raw([]byte("\xf0\x81\n")) }, ErrSilent,
			`no good line for 5s; last bad line "\xf0\x81": expected * and eight hex digits at the end`},
		{"deaf", func(p *peer) { p.beat() }, ErrUnresponsive, "STOP and IDENT: no progress for 1m0s"},
		{"unplugged", func(p *peer) { p.want(VerbStop); p.port.Close() }, ErrUnplugged, "EOF"},
	} {
		t.Run(c.name, func(t *testing.T) {
			onLine(t, c.script, func(t *testing.T, port net.Conn) {
				conn, err := Attach(t.Context(), port, "test port", Options{})
				failed(t, err, c.want)
				if conn != nil || !strings.Contains(err.Error(), c.text) {
					t.Errorf("got %v, %v; expected ...%s", conn, err, c.text)
				}
				if _, err := port.Write([]byte{0}); !errors.Is(err, io.ErrClosedPipe) {
					t.Errorf("the port is still open: %v", err)
				}
			})
		})
	}
}

func TestAttachCancelled(t *testing.T) {
	onLine(t, func(p *peer) { p.beat() }, func(t *testing.T, port net.Conn) {
		if _, err := Attach(later(t, 3*time.Second), port, "test port", Options{}); err != context.Canceled {
			t.Errorf("got %v", err)
		}
	})
}

// A stubborn port reads nothing and never fails, or does not take a write, or
// does not close: what a serial library may make of a port that has gone.
type stubborn struct {
	read, write, close chan struct{} // closed: returns at once
	err                error         // of write
}

func (s *stubborn) Read(p []byte) (int, error)  { <-s.read; return 0, nil }
func (s *stubborn) Write(p []byte) (int, error) { <-s.write; return len(p), s.err }
func (s *stubborn) Close() error                { <-s.close; return nil }

func TestStubbornPorts(t *testing.T) {
	for _, c := range []struct {
		name             string
		read, write, end bool // whether these return
		err              error
		want             error
	}{
		{"reads nothing", true, true, true, nil, ErrSilent},
		{"read hangs", false, true, true, nil, ErrSilent},
		{"write hangs", true, false, true, nil, ErrSilent},
		{"close hangs", true, true, false, nil, ErrSilent},
		{"write fails", true, true, true, io.ErrNoProgress, ErrUnplugged},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				let := make(chan struct{})
				gate := func(open bool) chan struct{} {
					if open {
						opened := make(chan struct{})
						close(opened)
						return opened
					}
					return let
				}
				port := &stubborn{gate(c.read), gate(c.write), gate(c.end), c.err}
				_, err := Attach(t.Context(), port, "test port", Options{})
				failed(t, err, c.want)
				close(let)
			})
		})
	}
}

// A deaf port takes no write until it is closed.
type deaf struct {
	net.Conn
	gone chan struct{}
}

func (d deaf) Write(p []byte) (int, error) { <-d.gone; return 0, net.ErrClosed }
func (d deaf) Close() error                { close(d.gone); return d.Conn.Close() }

// The jig is heard and hears nothing: what cannot be written does not pile up.
func TestStuckWriter(t *testing.T) {
	onLine(t, func(p *peer) { p.beat() }, func(t *testing.T, port net.Conn) {
		_, err := Attach(t.Context(), deaf{port, make(chan struct{})}, "test port", Options{Answer: 100 * time.Millisecond})
		failed(t, err, ErrUnresponsive)
	})
}

// A scanty writer takes at most n bytes.
type scanty struct {
	n    int
	text []byte
}

func (s *scanty) Write(p []byte) (int, error) {
	p = p[:min(s.n, len(p))]
	s.text = append(s.text, p...)
	return len(p), nil
}

func TestWriteAll(t *testing.T) {
	few := scanty{n: 2}
	if err := writeAll(&few, []byte("STOP!")); err != nil || string(few.text) != "STOP!" {
		t.Errorf("wrote %q, %v", few.text, err)
	}
	if err := writeAll(&scanty{}, []byte("x")); err != io.ErrShortWrite {
		t.Errorf("a writer that takes nothing: %v", err)
	}
}

func TestCloseUnblocks(t *testing.T) {
	onConn(t, func(p *peer) { p.beat() }, func(t *testing.T, c *Conn) {
		time.AfterFunc(2*time.Second, func() { c.Close() })
		_, err := pluck(t, c, &record{}, 1)
		failed(t, err, ErrClosed)
		_, err = c.Recover(t.Context(), 1, 2, Sink{})
		failed(t, err, ErrClosed)
		failed(t, c.Reattach(t.Context()), ErrClosed)
		if err := c.Close(); err != nil {
			t.Errorf("a second Close: %v", err)
		}
	})
}

// Calls from several goroutines take turns.
func TestCallsTakeTurns(t *testing.T) {
	onConn(t, func(p *peer) {
		for seq := uint32(1); seq <= 3; seq++ {
			cmd := p.want(VerbPluck)
			time.Sleep(500 * time.Millisecond)
			p.reading(seq, 1)
			p.done(cmd)
		}
	}, func(t *testing.T, c *Conn) {
		var all sync.WaitGroup
		for range 3 {
			all.Go(func() {
				var r record
				o, err := pluck(t, c, &r, 1)
				went(t, o, err, 1, 0)
			})
		}
		time.Sleep(100 * time.Millisecond)
		if _, err := pluckWithin(t, c, 100*time.Millisecond); err != context.Canceled {
			t.Errorf("a call that waits for its turn: %v", err)
		}
		all.Wait()
		if s := c.Stats(); s.Readings != 3 {
			t.Errorf("stats %+v", s)
		}
	})
}

func pluckWithin(t *testing.T, c *Conn, d time.Duration) (Outcome, error) {
	return c.Do(later(t, d), PluckCommand(1, 1), Sink{})
}

// Lines that nobody takes for hours cost no memory without end, and no reading.
func TestIdleForHours(t *testing.T) {
	onConn(t, func(p *peer) {
		p.reading(1, 1)
		for range 2 * inboxSize {
			p.status(1)
		}
		p.reading(2, 1)
		cmd := p.want(VerbPluck)
		p.wantResend(1, 1, "", 1)
		p.reading(3, 1)
		p.done(cmd)
	}, func(t *testing.T, c *Conn) {
		synctest.Wait()
		c.link.mu.Lock()
		if n := len(c.link.inbox); n > inboxSize {
			t.Errorf("%d lines in the inbox", n)
		}
		c.link.mu.Unlock()
		var r record
		o, err := pluck(t, c, &r, 1)
		went(t, o, err, 1, 0)
		r.is(t, 2, 1, 3)
	})
}
