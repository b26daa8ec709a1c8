package jig

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"time"
)

// Sink takes the readings of a call, each exactly once and as soon as it is
// good, so that one that had to be asked for again comes later than its
// successors. A nil func ignores its kind. An error ends the call and is what
// the call returns.
type Sink struct {
	Reading func(Reading) error
	Field   func(Field) error
}

// Options sets the patience of a conversation. Zero values mean the defaults.
type Options struct {
	// Silence is how long the jig may send no good line: 5 s.
	Silence time.Duration
	// Answer is how long a command may go unanswered before it is sent again
	// with the same id: 1 s. For a command that takes time, or has to wait for
	// one, the pause doubles each time, up to eight times this.
	Answer time.Duration
	// Patience is how long a jig that is alive may make no progress with what
	// it was asked: 60 s.
	Patience time.Duration
	// Tries is how often a missing reading is asked for before it is given up:
	// 30. A line that gets one bit in a thousand wrong spoils nearly every
	// second reading, and the answer to a RESEND is as likely to suffer.
	Tries int
	// FirstID is the first command id: random, so that a late answer to an
	// earlier host is not taken for ours.
	FirstID uint32
	// Event hears what happens on the line. It is called from within the calls
	// of the Conn, by the goroutine that makes them.
	Event func(Event)
}

// backoff is the longest pause before a command is sent again, in units of
// Options.Answer.
const backoff = 8

// maxFirstID keeps random ids small enough for a jig that counts with 31 bits.
const maxFirstID = 1 << 30

func (o Options) withDefaults() Options {
	if o.Silence == 0 {
		o.Silence = 5 * time.Second
	}
	if o.Answer == 0 {
		o.Answer = time.Second
	}
	if o.Patience == 0 {
		o.Patience = time.Minute
	}
	if o.Tries == 0 {
		o.Tries = 30
	}
	if o.FirstID == 0 {
		o.FirstID = 1 + rand.Uint32N(maxFirstID)
	}
	return o
}

// A Conn is the conversation with one jig over one port. Its methods may be
// called from several goroutines; calls that talk to the jig take turns.
type Conn struct {
	name string
	opt  Options
	link *link
	turn chan struct{} // held by the call that talks

	// Only the call that talks touches these.
	nextID  uint32
	tracker tracker
	running bool // the jig may be busy with a command that nobody waits for
	owed    int  // how many more sequence numbers the jig may use, see spend

	mu    sync.Mutex
	ident Ident
	last  uint32
	stats Stats
}

// Ident returns what the jig said of itself at Attach or Reattach.
func (c *Conn) Ident() Ident {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.ident
}

// Last returns the sequence number that the jig had used last at Attach or
// Reattach; 0 when it had made no reading since power-up.
func (c *Conn) Last() uint32 {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.last
}

// Stats returns the counts since Attach.
func (c *Conn) Stats() Stats {
	c.mu.Lock()
	s := c.stats
	c.mu.Unlock()
	s.Good, s.Bad = c.link.lines()
	return s
}

// Close closes the port. A call that is waiting returns with ErrClosed.
func (c *Conn) Close() error {
	if err := c.link.close(); err != nil {
		return &PortError{c.name, err}
	}
	return nil
}

// claim waits for this call's turn to talk.
func (c *Conn) claim(ctx context.Context) (release func(), err error) {
	select {
	case c.turn <- struct{}{}:
		return func() { <-c.turn }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// A dialogue is what one call wants of the jig.
type dialogue interface {
	take(*Line) error     // a good line came
	tend(time.Time) error // time has passed, or lines have come: send what is due
	prod(time.Time)       // the jig has been silent for long: try to wake it
	woke(time.Time)       // this program has slept: be as patient as at first
	done() bool           // nothing more is wanted
}

// converse carries on a dialogue until it is done or fails.
func (c *Conn) converse(ctx context.Context, d dialogue) error {
	tick := time.NewTicker(max(c.opt.Answer/8, time.Millisecond))
	defer tick.Stop()
	watch := newWatch(c, time.Now())
	for ctx.Err() == nil {
		over, more, err := c.hearLines(d)
		if over || err != nil {
			return err
		}
		now := time.Now()
		if watch.slept(now) {
			d.woke(now)
		}
		if err := watch.check(d, now); err != nil {
			return err
		}
		if err := d.tend(now); err != nil {
			return err
		}
		if more {
			continue
		}
		select {
		case <-ctx.Done():
		case <-c.link.wake:
		case <-tick.C:
		}
	}
	return ctx.Err()
}

// hearLines hands the dialogue the lines that have come, but no more than an inbox holds:
// a jig that talks without end shall not keep the host from looking at the clock. over
// tells that the dialogue wants nothing more, more that there may be further lines.
func (c *Conn) hearLines(d dialogue) (over, more bool, err error) {
	for range inboxSize {
		if d.done() {
			return true, false, nil
		}
		if more, err = c.next(d); err != nil || !more {
			return false, false, err
		}
	}
	return false, true, nil
}

// slack is how many sequence numbers a jig may use beyond those that it was told to: the
// rest of a command that was cut short, and a counter that once jumps.
const slack = 2 * window

// spend notes that the jig has used sequence numbers, of which it may use twice as many
// as it was told to, since a command whose answer was lost may be done twice, and some.
// A jig that uses more makes what nobody asked for, and would do so for ever.
func (c *Conn) spend(numbers uint32) error {
	c.owed -= int(min(numbers, window)) // of more than that only so many are asked for
	if c.owed >= 0 {
		return nil
	}
	return &PortError{c.name, fmt.Errorf("%w: it uses sequence numbers for which there was no command", ErrUnresponsive)}
}

// next hands the dialogue a line that has come, and tells whether there was one.
func (c *Conn) next(d dialogue) (more bool, err error) {
	in, ok, err := c.link.pull()
	switch {
	case err != nil:
		return false, &PortError{c.name, err}
	case !ok:
		return false, nil
	case in.bad != nil:
		c.report(Event{EventBad, in.bad.Flaw, in.bad.Error()})
		return true, nil
	}
	return true, d.take(&in.line)
}

// stray counts a line that nobody waits for.
func (c *Conn) stray(l *Line) {
	c.count(func(s *Stats) { s.Stray++ })
	line := l.AppendLine(nil)
	c.tell(EventOther, "not waited for: %s", line[:len(line)-1])
}

// otherJig returns an error when an I line is not of the jig that we know.
func (c *Conn) otherJig(id Ident) error {
	if was := c.ident.Jig; was != "" && was != id.Jig {
		return &PortError{c.name, fmt.Errorf("%w: %q, and it was %q", ErrOtherJig, id.Jig, was)}
	}
	return nil
}

// A watch notices that the jig sends no good line any more.
type watch struct {
	conn    *Conn
	since   time.Time
	looked  time.Time // when it was last asked
	prodded bool
}

func newWatch(c *Conn, now time.Time) watch { return watch{conn: c, since: now, looked: now} }

// slept tells whether nobody has looked at the line for long, because the
// machine or this process was asleep or a sink was. The jig had no chance to be
// heard then, and has all its time again.
func (w *watch) slept(now time.Time) bool {
	long := now.Sub(w.looked) > w.conn.opt.Silence/5
	w.looked = now
	if long {
		w.since, w.prodded = now, false
	}
	return long
}

// check prods a jig that has been silent for three fifths of the time that it
// may be, and gives up on it at the end of that time.
func (w *watch) check(d dialogue, now time.Time) error {
	limit := w.conn.opt.Silence
	heard, bad := w.conn.link.lastHeard()
	if heard.Before(w.since) {
		heard = w.since
	}
	silent := now.Sub(heard)
	switch {
	case silent >= limit:
		return &PortError{w.conn.name, silence(limit, bad)}
	case silent < limit*3/5:
		w.prodded = false
	case !w.prodded:
		w.prodded = true
		d.prod(now)
	}
	return nil
}

// silence describes a silent jig. Bad lines instead of good ones are a hint:
// most often the rate is not the jig's.
func silence(limit time.Duration, bad *BadLine) error {
	err := fmt.Errorf("%w: no good line for %v", ErrSilent, limit)
	if bad != nil {
		err = fmt.Errorf("%w; last %w", err, bad)
	}
	return err
}

// tell reports an event to whoever asked to hear.
func (c *Conn) tell(kind EventKind, format string, args ...any) {
	c.report(Event{Kind: kind, Text: fmt.Sprintf(format, args...)})
}

func (c *Conn) report(ev Event) {
	if c.opt.Event != nil {
		c.opt.Event(ev)
	}
}

// count changes the statistics.
func (c *Conn) count(change func(*Stats)) {
	c.mu.Lock()
	defer c.mu.Unlock()
	change(&c.stats)
}
