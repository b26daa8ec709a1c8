package jig

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Outcome says how a command went: Got readings were handed to the sink, and
// Lost were made, as far as one can tell, and could not be had.
type Outcome struct {
	Got, Lost int
}

// Do has the jig carry out one PLUCK, QUIET, DRIVE or FIELD command and hands
// the readings to the sink. Gaps in the sequence are asked for while the
// command runs and when it has ended. The id of cmd is replaced.
//
// What is handed on may include a late reading of an earlier command that was
// cut short; Got counts only those of this one. The Outcome holds with an error too.
//
// Errors: that of ctx, when it is cancelled (STOP is sent first, as well as can
// be); that of the sink; *CommandError when the jig refuses or fails;
// *RestartError; *PortError.
func (c *Conn) Do(ctx context.Context, cmd Command, s Sink) (Outcome, error) {
	if err := cmd.check(); err != nil {
		return Outcome{}, err
	}
	release, err := c.begin(ctx, s)
	if err != nil {
		return Outcome{}, err
	}
	defer release()

	v := &running{conn: c, sink: s, main: c.slowRequest(cmd), start: c.tracker.last}
	c.running = true
	c.owed += 2 * cmd.Count
	if err := c.converse(ctx, v); err != nil {
		c.abandon()
		return v.outcome(), err
	}
	if a := v.main.answer; a.Code != Done {
		return v.outcome(), &CommandError{v.main.cmd, a.Code, a.Text}
	}
	return v.outcome(), nil
}

// check refuses what Do does not do.
func (c Command) check() error {
	switch c.Verb {
	case VerbPluck, VerbQuiet, VerbDrive, VerbField:
	default:
		return fmt.Errorf("verb: expected PLUCK, QUIET, DRIVE or FIELD, got %s", c.Verb)
	}
	if c.Count < 1 || c.Count > MaxCount {
		return fmt.Errorf("count: expected 1 to %d, got %d", MaxCount, c.Count)
	}
	return nil
}

// reach is the widest range that is asked for. A jig need not keep more than a
// window, but may.
const reach = 4096

// widest is the widest range that Recover takes: a wider one is a slip.
const widest = 1 << 16

// Recover asks for readings from..to of the current power-up, whether or not
// they have come before, and hands them to the sink. The range is inclusive
// and may wrap; it is empty when to is before from, and ends at the last
// reading that the jig has made. What could not be had is returned as lost,
// oldest first, with an error too. Errors are those of Do, but for
// *CommandError.
func (c *Conn) Recover(ctx context.Context, from, to uint32, s Sink) (lost []uint32, err error) {
	release, err := c.begin(ctx, s)
	if err != nil {
		return nil, err
	}
	defer release()

	if after(to, c.tracker.last) {
		to = c.tracker.last
	}
	if after(from, to) {
		return nil, nil
	}
	if to-from >= widest {
		return nil, fmt.Errorf("range: expected fewer than %d readings, got %d to %d", widest, from, to)
	}
	for ; to-from >= reach; from++ {
		lost = append(lost, from)
	}
	c.tracker.want(from, to)
	v := &running{conn: c, sink: s}
	err = c.converse(ctx, v)
	slices.SortFunc(v.lost, order)
	for _, seq := range v.lost {
		if within(seq, from, to) {
			lost = append(lost, seq)
		}
	}
	return lost, err
}

// begin takes the turn, brings the jig to rest if a call before was cut short,
// and hands on what has come since.
func (c *Conn) begin(ctx context.Context, s Sink) (release func(), err error) {
	release, err = c.claim(ctx)
	if err != nil {
		return nil, err
	}
	if err = c.halt(ctx, s); err == nil {
		err = c.catchUp(s)
	}
	if err != nil {
		release()
		return nil, err
	}
	return release, nil
}

// halt stops a command that nobody waits for any more, and waits until the jig
// says so: what it makes afterwards is of the next command.
func (c *Conn) halt(ctx context.Context, s Sink) error {
	if !c.running {
		return nil
	}
	v := &running{conn: c, sink: s, main: c.request(Command{Verb: VerbStop})}
	err := c.converse(ctx, v)
	if v.main.answer != nil {
		c.running = false
	}
	return err
}

// catchUp takes all lines that have come while nobody listened.
func (c *Conn) catchUp(s Sink) error {
	_, _, err := c.hearLines(&listening{running{conn: c, sink: s}})
	return err
}

// listening takes what comes and wants nothing.
type listening struct{ running }

func (v *listening) done() bool { return false }

// abandon asks the jig to stop what a call that fails leaves behind.
func (c *Conn) abandon() {
	if c.running {
		c.link.lastLine(c.request(Command{Verb: VerbStop}).line)
	}
}

// running is the dialogue of a command, or of none, that gets every reading.
type running struct {
	conn  *Conn
	sink  Sink
	main  *request // nil for Recover
	start uint32   // the last number used before it
	fill  *request // the RESEND under way, or nil

	got      int      // readings of main
	lost     []uint32 // given up
	lostFar  int      // given up at once, being too many
	settled  bool     // a status line has come after main's answer
	progress time.Time
}

func (v *running) outcome() Outcome {
	if v.main.answer != nil && v.main.answer.Code == Done {
		return Outcome{v.got, max(v.main.cmd.Count-v.got, 0)}
	}
	return Outcome{v.got, v.lostSince()}
}

// lostSince counts the readings given up that were made since main was sent.
func (v *running) lostSince() int {
	n := v.lostFar
	for _, seq := range v.lost {
		if after(seq, v.start) {
			n++
		}
	}
	return n
}

// done reports whether all readings that were made have come or were given up. There
// may be more of them unless their number is full or a status line has confirmed it.
func (v *running) done() bool {
	if v.main == nil {
		return len(v.conn.tracker.holes) == 0
	}
	if v.atWork() {
		return false
	}
	switch v.main.answer.Code {
	case UnknownCommand, BadArgument, NotAvailable: // nothing was made
		return true
	}
	return len(v.conn.tracker.holes) == 0 && (v.settled || v.got+v.lostSince() >= v.main.cmd.Count)
}

func (v *running) take(l *Line) error {
	if l.Kind == KindIdent {
		if err := v.conn.otherJig(l.Ident); err != nil {
			return err
		}
	}
	if b, ok := l.boot(); ok && b != v.conn.ident.Boot {
		return v.conn.restarted(b)
	}
	switch l.Kind {
	case KindReading:
		return v.reading(l.Reading)
	case KindField:
		return v.field(l.Field)
	case KindStatus:
		v.settled = !v.atWork()
		return v.used(l.Status.Seq)
	case KindAnswer:
		if !v.answer(l.Answer) {
			v.conn.stray(l)
		}
	case KindCommand:
		v.conn.stray(l)
	}
	return nil
}

func (c *Conn) restarted(now Boot) error {
	c.count(func(s *Stats) { s.Restarts++ })
	err := &RestartError{Port: c.name, Was: c.ident.Boot, Now: now}
	c.tell(EventRestart, "%v", err)
	return err
}

func (v *running) reading(r Reading) error {
	fresh, err := v.fresh(r.Seq, v.main != nil && v.main.cmd.yields(r))
	if err != nil || !fresh || v.sink.Reading == nil {
		return err
	}
	return v.sink.Reading(r)
}

func (v *running) field(f Field) error {
	fresh, err := v.fresh(f.Seq, v.main != nil && v.main.cmd.yieldsField(f))
	if err != nil || !fresh || v.sink.Field == nil {
		return err
	}
	return v.sink.Field(f)
}

// fresh tells whether a reading comes for the first time. It is mine when it
// looks like one of the command that runs.
func (v *running) fresh(seq uint32, mine bool) (bool, error) {
	if err := v.used(seq - 1); err != nil {
		return false, err
	}
	next := after(seq, v.conn.tracker.last)
	if !v.conn.tracker.take(seq) {
		v.conn.count(func(s *Stats) { s.Repeats++ })
		return false, nil
	}
	v.conn.count(func(s *Stats) { s.Readings++ })
	switch {
	case next:
		if err := v.conn.spend(1); err != nil {
			return false, err
		}
	case v.main != nil:
		v.conn.count(func(s *Stats) { s.Refilled++ })
	}
	if mine && after(seq, v.start) {
		v.got++
	}
	v.advance(mine)
	return true, nil
}

// advance notes that a reading has come: while a command runs, only what it was told to
// make tells that it gets on.
func (v *running) advance(mine bool) {
	if v.atWork() && (!mine || v.got > v.main.cmd.Count) {
		return
	}
	v.progress = time.Now()
	v.putOff()
}

// atWork tells whether the jig is, as far as we know, at work on main.
func (v *running) atWork() bool { return v.main != nil && v.main.answer == nil }

// putOff gives the command time for its next take or, when the jig has used as
// many numbers as there are takes, for its answer.
func (v *running) putOff() {
	if !v.atWork() {
		return
	}
	wait := v.conn.opt.Answer
	if v.conn.tracker.last-v.start < uint32(v.main.cmd.Count) {
		wait *= backoff
	}
	v.main.expect(time.Now(), wait)
}

// used notes that the jig has used every sequence number up to seq.
func (v *running) used(seq uint32) error {
	from := v.conn.tracker.last + 1
	missing, lost := v.conn.tracker.use(seq)
	if missing == 0 {
		return nil
	}
	v.conn.count(func(s *Stats) { s.Missing += int(missing) })
	v.conn.tell(EventGap, "readings %d to %d are missing", from, seq)
	if lost > 0 {
		v.lostFar += int(lost)
		v.giveUp(int(lost), from, from+lost-1)
	}
	v.putOff()
	return v.conn.spend(missing)
}

// lose notes that readings were given up.
func (v *running) lose(seqs []uint32) {
	if n := len(seqs); n > 0 {
		v.lost = append(v.lost, seqs...)
		v.giveUp(n, seqs[0], seqs[n-1])
	}
}

func (v *running) giveUp(n int, from, to uint32) {
	v.conn.count(func(s *Stats) { s.Lost += n })
	v.conn.tell(EventLost, "%d readings given up, %d to %d", n, from, to)
}

// answer tells whether an answer was waited for.
func (v *running) answer(a Answer) bool {
	switch {
	case v.conn.hear(v.main, a):
		if v.main.answer != nil {
			v.conn.running = false
			v.progress = time.Now()
			v.fill.expect(v.progress, v.conn.opt.Answer) // nothing is in its way any more
		}
		return true
	case v.conn.hear(v.fill, a):
		if v.fill.answer != nil {
			if !v.atWork() {
				v.progress = time.Now()
			}
			v.filled(v.fill.cmd, a)
			v.fill = nil
		}
		return true
	}
	return false
}

// filled draws the conclusions from the answer to a RESEND.
func (v *running) filled(cmd Command, a Answer) {
	t := &v.conn.tracker
	switch a.Code {
	case UnknownCommand, BadArgument:
		v.lose(t.gone(cmd.From, cmd.To))
	case NotAvailable:
		if seq, ok := goneSeq(a.Text); ok && within(seq, cmd.From, cmd.To) {
			v.lose(t.forgotten(cmd.From, cmd.To, seq))
		}
		fallthrough
	default:
		v.lose(t.asked(cmd.From, cmd.To, v.conn.opt.Tries))
	}
}

// goneSeq reads "<seq> is gone".
func goneSeq(text string) (seq uint32, ok bool) {
	word, found := strings.CutSuffix(text, " is gone")
	n, err := strconv.ParseUint(word, 10, 32)
	return uint32(n), found && err == nil
}

func (v *running) tend(now time.Time) error {
	if v.progress.IsZero() {
		v.progress = now
	}
	if now.Sub(v.progress) >= v.conn.opt.Patience {
		return v.impatient()
	}
	if v.main != nil {
		v.conn.send(v.main, now)
	}
	if v.fill != nil && !now.Before(v.fill.due) && !v.conn.tracker.missing(v.fill.cmd.From, v.fill.cmd.To) {
		v.fill = nil // its answer was lost, and does not matter
	}
	if v.fill == nil {
		v.fill = v.refill()
	}
	if v.fill != nil {
		v.conn.send(v.fill, now)
	}
	return nil
}

// refill makes a request for the oldest of what is missing, if anything is. It
// has a new id, because under an old one the jig would only repeat its answer.
func (v *running) refill() *request {
	c := v.conn
	from, to, ok := c.tracker.run()
	if !ok {
		return nil
	}
	c.count(func(s *Stats) { s.Resends++ })
	c.tell(EventResend, "readings %d to %d are asked for again", from, to)
	cmd := Command{Verb: VerbResend, Boot: c.ident.Boot, From: from, To: to}
	if v.atWork() {
		return c.slowRequest(cmd)
	}
	return c.request(cmd)
}

func (v *running) impatient() error {
	switch {
	case v.main != nil && v.main.busy:
		return &CommandError{Command: v.main.cmd, Code: Busy}
	case v.atWork():
		return v.conn.unresponsive(v.main.cmd.words())
	}
	return v.conn.unresponsive("RESEND")
}

// prod sends again what has no answer. IDENT is only for when nothing is under
// way: it makes the jig forget which commands it has finished, and a command
// whose answer got lost would then be done twice.
func (v *running) prod(now time.Time) {
	main, fill := v.main.hurry(now), v.fill.hurry(now)
	if !main && !fill {
		v.conn.send(v.conn.request(Command{Verb: VerbIdent}), now)
	}
}

func (v *running) woke(now time.Time) { v.progress = now }
