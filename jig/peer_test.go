package jig

import (
	"context"
	"errors"
	"net"
	"runtime"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

const (
	boot1 Boot = 0x11111111
	boot2 Boot = 0x22222222
)

var bench = Ident{Jig: "bench", Boot: boot1, Firmware: "1", Strings: 6, FullScaleUV: 2_000_000, Excite: Travel}

// A peer is the far end of the line: a script in place of a jig. Time is that
// of a synctest bubble, so that a minute of patience passes at once.
type peer struct {
	t        *testing.T
	port     net.Conn
	commands chan Command
	answered map[uint32]bool
	stop     chan struct{}

	mu   sync.Mutex
	boot Boot
	seq  uint32 // what the S lines say
}

// onLine plays a script at the far end and the host at the near one. The
// script ends by itself or when the host has closed the port.
func onLine(t *testing.T, script func(*peer), host func(*testing.T, net.Conn)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		near, far := net.Pipe()
		p := &peer{t: t, port: far, commands: make(chan Command), answered: map[uint32]bool{}, stop: make(chan struct{}), boot: boot1}
		go p.listen()
		over := make(chan struct{})
		go func() {
			defer close(over)
			defer p.ignore()
			script(p)
		}()
		host(t, near)
		near.Close()
		close(p.stop)
		<-over
	})
}

// onConn is onLine with the host attached to a jig that is fresh and in order.
func onConn(t *testing.T, script func(*peer), host func(*testing.T, *Conn)) {
	t.Helper()
	onConnWith(t, 0, Options{}, script, host)
}

// onConnWith is the same with a jig that has made last readings.
func onConnWith(t *testing.T, last uint32, opt Options, script func(*peer), host func(*testing.T, *Conn)) {
	t.Helper()
	onLine(t, func(p *peer) {
		p.seq = last
		p.attach()
		script(p)
	}, func(t *testing.T, port net.Conn) {
		c, err := Attach(t.Context(), port, "test port", opt)
		if err != nil {
			t.Fatal(err)
		}
		host(t, c)
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	})
}

func (p *peer) listen() {
	defer close(p.commands)
	d := NewDecoder()
	buf := make([]byte, 1000)
	for {
		n, err := p.port.Read(buf)
		if err != nil {
			return
		}
		d.Feed(buf[:n], func(l *Line) { p.commands <- l.Command }, func(b *BadLine) { p.t.Errorf("the host sent a %v", b) })
	}
}

// ignore takes what comes after the script, and does not answer it.
func (p *peer) ignore() {
	for range p.commands {
	}
}

// want waits for a command, which must be of the given verb. One that has been
// answered, and that the host sent once more before it heard, is passed over.
func (p *peer) want(v Verb) Command {
	p.t.Helper()
	c, ok := <-p.commands
	for ok && p.answered[c.ID] {
		c, ok = <-p.commands
	}
	if !ok {
		p.t.Errorf("the host is gone and %s was expected", v)
		runtime.Goexit()
	}
	if c.Verb != v {
		p.t.Errorf("the host sent %s, expected %s", c.words(), v)
	}
	return c
}

// wantResend waits for a RESEND of from..to and answers it with those of the
// given numbers and code 0, or with none of them and an E line.
func (p *peer) wantResend(from, to uint32, text string, seqs ...uint32) Command {
	p.t.Helper()
	c := p.want(VerbResend)
	if c.From != from || c.To != to || c.Boot != p.boot {
		p.t.Errorf("the host sent %s, expected %s %d to %d", c.words(), p.boot, from, to)
	}
	for _, s := range seqs {
		p.reading(s, 1)
	}
	if text == "" {
		p.done(c)
	} else {
		p.fail(c, NotAvailable, text)
	}
	return c
}

type liner interface{ AppendLine([]byte) []byte }

// say sends a line; it is lost when the host has gone.
func (p *peer) say(x liner) { p.raw(x.AppendLine(nil)) }

func (p *peer) raw(b []byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.port.Write(b)
}

// sleep lets time pass and heeds no command.
func (p *peer) sleep(d time.Duration) {
	for end := time.After(d); ; {
		select {
		case <-end:
			return
		case _, ok := <-p.commands:
			if !ok {
				runtime.Goexit()
			}
		}
	}
}

func (p *peer) status(seq uint32) { p.say(Status{Boot: p.boot, Seq: seq}) }
func (p *peer) done(c Command)    { p.fail(c, Done, "") }

func (p *peer) fail(c Command, code Code, why string) {
	p.answered[c.ID] = code != Busy
	p.say(Answer{c.ID, code, why})
}

func (p *peer) reading(seq uint32, str int) {
	p.say(Reading{Boot: p.boot, Seq: seq, String: str, Take: 1, Mode: Pluck, RMSUV: int64(seq)})
}

// attach does what a jig at rest does when a host attaches.
func (p *peer) attach() {
	p.t.Helper()
	p.done(p.want(VerbStop))
	c := p.want(VerbIdent)
	id := bench
	id.Boot = p.boot
	p.say(id)
	p.done(c)
	p.status(p.seq)
}

// beat sends a status line every second from now on.
func (p *peer) beat() {
	go func() {
		for {
			select {
			case <-p.stop:
				return
			case <-time.After(time.Second):
				p.mu.Lock()
				s := Status{Boot: p.boot, Seq: p.seq}
				p.mu.Unlock()
				p.say(s)
			}
		}
	}()
}

// setSeq sets what the beat says; only after the reading, lest the beat comes
// between and shows a gap.
func (p *peer) setSeq(seq uint32) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.seq = seq
}

// A record is what a sink was given.
type record struct{ seqs []uint32 }

func (r *record) sink() Sink {
	return Sink{
		Reading: func(x Reading) error { r.seqs = append(r.seqs, x.Seq); return nil },
		Field:   func(x Field) error { r.seqs = append(r.seqs, x.Seq); return nil },
	}
}

func (r *record) is(t *testing.T, seqs ...uint32) {
	t.Helper()
	if !slices.Equal(r.seqs, seqs) {
		t.Errorf("the sink was given %v, expected %v", r.seqs, seqs)
	}
}

// pluck asks for count plucks of string 1.
func pluck(t *testing.T, c *Conn, r *record, count int) (Outcome, error) {
	return c.Do(t.Context(), PluckCommand(1, count), r.sink())
}

// went checks a command that should have gone well.
func went(t *testing.T, o Outcome, err error, got, lost int) {
	t.Helper()
	if err != nil || o != (Outcome{got, lost}) {
		t.Errorf("got %+v, %v; expected %d got and %d lost", o, err, got, lost)
	}
}

// failed checks that an error is of the port, is about what it should be, and
// names the port.
func failed(t *testing.T, err, want error) {
	t.Helper()
	var pe *PortError
	if !errors.As(err, &pe) || !errors.Is(err, want) || pe.Port != "test port" {
		t.Errorf("got %v, expected a port error: %v", err, want)
	}
}

// later returns a context that is cancelled after d.
func later(t *testing.T, d time.Duration) context.Context {
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(d, cancel)
	return ctx
}
