package jig

import (
	"context"
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
