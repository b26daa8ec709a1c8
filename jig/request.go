package jig

import (
	"fmt"
	"time"
)

// A request is a command on its way: it is sent until it is answered, always
// with the same id, so that the jig does it once.
type request struct {
	cmd    Command
	line   []byte
	due    time.Time     // when it is to be sent, the zero time being at once
	wait   time.Duration // how long after that it is to be sent again
	most   time.Duration // how long that may get: it doubles each time
	sent   bool
	busy   bool    // the jig's queue was full when it was last heard
	answer *Answer // the last word, once it has come
}

// request makes a request with the next id, to be answered at once.
func (c *Conn) request(cmd Command) *request {
	cmd.ID = c.nextID
	c.nextID++
	return &request{cmd: cmd, line: cmd.AppendLine(nil), wait: c.opt.Answer, most: c.opt.Answer}
}

// slowRequest makes a request that may have to wait for takes of its own, or
// of another one.
func (c *Conn) slowRequest(cmd Command) *request {
	r := c.request(cmd)
	r.most = backoff * c.opt.Answer
	return r
}

// expect has a request sent again after wait, and after wait once more. A nil request
// is left alone.
func (r *request) expect(now time.Time, wait time.Duration) {
	if r == nil {
		return
	}
	r.wait, r.most = wait, wait
	r.due = now.Add(wait)
}

// send sends a request when it is due.
func (c *Conn) send(r *request, now time.Time) {
	if r.answer != nil || now.Before(r.due) {
		return
	}
	if r.sent {
		c.count(func(s *Stats) { s.Again++ })
		c.tell(EventAgain, "%s sent again: no answer", r.cmd.words())
	}
	c.link.push(outgoing{line: r.line})
	r.sent = true
	r.due = now.Add(r.wait)
	r.wait = min(2*r.wait, r.most)
}

// hear tells whether an answer is to r. Being told to wait is not the last word.
func (c *Conn) hear(r *request, a Answer) bool {
	if r == nil || !r.sent || r.answer != nil || a.ID != r.cmd.ID {
		return false
	}
	r.busy = a.Code == Busy
	if r.busy {
		r.due = time.Now().Add(c.opt.Answer)
		c.tell(EventBusy, "%s has to wait: the jig's queue is full", r.cmd.words())
		return true
	}
	r.answer = &a
	return true
}

// hurry makes an unanswered request due, and tells whether there is one.
func (r *request) hurry(now time.Time) bool {
	if r == nil || r.answer != nil {
		return false
	}
	r.due = now
	return true
}

// unresponsive says that a jig which is alive does not get on.
func (c *Conn) unresponsive(what string) error {
	return &PortError{c.name, fmt.Errorf("%w: %s: no progress for %v", ErrUnresponsive, what, c.opt.Patience)}
}
