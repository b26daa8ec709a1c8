package jig

import (
	"context"
	"io"
	"time"
)

// settling is the dialogue that finds out which jig is there, which power-up
// this is, and how far its readings have got.
type settling struct {
	conn  *Conn
	start time.Time
	stop  *request
	ask   *request // IDENT
	ident Ident
	known bool // ident holds what was said after STOP
	last  uint32
	over  bool
}

func (c *Conn) settle(ctx context.Context) error {
	v := &settling{
		conn:  c,
		start: time.Now(),
		stop:  c.request(Command{Verb: VerbStop}),
		ask:   c.request(Command{Verb: VerbIdent}),
	}
	if err := c.converse(ctx, v); err != nil {
		return err
	}
	c.tracker = tracker{last: v.last}
	c.running = false
	c.mu.Lock()
	defer c.mu.Unlock()
	c.ident, c.last = v.ident, v.last
	return nil
}

func (v *settling) done() bool { return v.over }

func (v *settling) take(l *Line) error {
	if b, ok := l.boot(); ok && b != v.ident.Boot {
		v.known = false
	}
	switch l.Kind {
	case KindIdent:
		v.ident = l.Ident
		v.known = v.stop.answer != nil
		return v.conn.otherJig(l.Ident)
	case KindStatus:
		v.last, v.over = l.Status.Seq, v.known
	case KindAnswer:
		if !v.conn.hear(v.stop, l.Answer) && !v.conn.hear(v.ask, l.Answer) {
			v.conn.stray(l)
		}
	case KindCommand:
		v.conn.stray(l)
	}
	return nil
}

func (v *settling) tend(now time.Time) error {
	if now.Sub(v.start) >= v.conn.opt.Patience {
		return v.conn.unresponsive("STOP and IDENT")
	}
	v.conn.send(v.stop, now)
	if v.stop.answer == nil || v.known {
		return nil
	}
	if v.ask.answer != nil { // and the I line was lost, or there was a restart since
		v.ask = v.conn.request(Command{Verb: VerbIdent})
		v.ask.due = now.Add(v.conn.opt.Answer / 4)
	}
	v.conn.send(v.ask, now)
	return nil
}

func (v *settling) prod(now time.Time) {
	_ = v.stop.hurry(now) || v.ask.hurry(now)
}

func (v *settling) woke(now time.Time) { v.start = now }

// Attach starts the conversation with the jig behind a port. It sends STOP,
// because the jig may still be at work for a host that died, then IDENT, and
// waits for the status line after that: Ident and Last are then settled. The
// name stands for the port in errors. The Conn owns the port from now on; when
// Attach fails the port is closed.
//
// Errors are those of ctx, or a *PortError.
func Attach(ctx context.Context, port io.ReadWriteCloser, name string, opt Options) (*Conn, error) {
	opt = opt.withDefaults()
	c := &Conn{
		name:   name,
		opt:    opt,
		link:   newLink(port),
		turn:   make(chan struct{}, 1),
		nextID: opt.FirstID,
		owed:   slack,
	}
	if err := c.Reattach(ctx); err != nil {
		c.Close()
		return nil, err
	}
	return c, nil
}

// Reattach does what Attach does on a port that is open: it is due after a
// *RestartError. Readings of the new power-up that came before it, if any, are
// not handed to a sink: Last tells whether there are any, and Recover gets
// them. Another jig than before is an error (ErrOtherJig).
func (c *Conn) Reattach(ctx context.Context) error {
	release, err := c.claim(ctx)
	if err != nil {
		return err
	}
	defer release()
	return c.settle(ctx)
}
