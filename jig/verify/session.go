package verify

import (
	"context"
	"fmt"
	"hash/crc32"
	"io"
	"time"

	"evenpole/jig"
	"evenpole/profiles"
)

// The patience of a session.
const (
	patience  = time.Minute             // with a command that brings nothing: no take may last longer
	silent    = 5 * time.Second         // without a word from a jig that has just been found
	deafAfter = 20 * time.Second        // without a word to STOP, or to a quiet window
	still     = 1200 * time.Millisecond // nothing within this counts as no answer
	prompt    = 500 * time.Millisecond  // answers that need nothing mechanical come within this
)

// session is the raw conversation with a jig: nothing is sent again, asked for again or
// smoothed over.
type session struct {
	port   io.ReadWriteCloser
	in     chan heard
	out    chan outgoing
	ctx    context.Context // ends with the session
	err    error           // the port is lost
	nextID uint32
	asked  Plan

	watcher
	idle   []time.Duration // from commands that need nothing mechanical to their answers
	resent []rate          // how fast readings came again
}

// rate is how many lines came within a time.
type rate struct {
	lines int
	took  time.Duration
}

func newSession(ctx context.Context, port io.ReadWriteCloser, firstID uint32) *session {
	s := &session{
		in: make(chan heard, 1024), nextID: firstID, ctx: ctx,
		watcher: watcher{known: map[uint32]string{}, owing: map[uint32]int{}, faults: map[string]breaches{}},
	}
	s.plug(port)
	return s
}

// plug talks over a port from now on.
func (s *session) plug(port io.ReadWriteCloser) {
	s.port, s.out = port, make(chan outgoing)
	go listen(s.ctx, port, s.in)
	go send(s.ctx, port, s.out)
}

// outgoing is bytes for the jig, and how that went.
type outgoing struct {
	text string
	sent chan error // has room for one
}

// send sends what is to be sent, so that a port that takes nothing keeps nobody else waiting.
func send(ctx context.Context, port io.Writer, out <-chan outgoing) {
	for {
		select {
		case o := <-out:
			_, err := io.WriteString(port, o.text)
			o.sent <- err
		case <-ctx.Done():
			return
		}
	}
}

// listen passes on the lines of a port until it ends.
func listen(ctx context.Context, port io.Reader, out chan<- heard) {
	pass := func(h heard) {
		h.at = time.Now()
		select {
		case out <- h:
		case <-ctx.Done():
		}
	}
	decoder := jig.NewDecoder()
	buf := make([]byte, 4096)
	for ctx.Err() == nil {
		n, err := port.Read(buf)
		decoder.Feed(buf[:n],
			func(l *jig.Line) {
				text := l.AppendLine(nil)
				pass(heard{line: *l, text: string(text[:len(text)-1])})
			},
			func(b *jig.BadLine) { pass(heard{bad: b}) })
		if err != nil {
			pass(heard{err: err})
			return
		}
	}
}

// seal makes the line of a body.
func seal(body string) string {
	return fmt.Sprintf("%s*%08X\n", body, crc32.ChecksumIEEE([]byte(body)))
}

// id returns a number for a command that was not used before.
func (s *session) id() uint32 {
	s.nextID++
	return s.nextID
}

// write sends bytes as they are, and waits until the port has taken them.
func (s *session) write(text string) {
	if s.err == nil {
		s.err = s.push(text)
	}
}

// push is write for a session that has ended, too.
func (s *session) push(text string) error {
	const within = 2 * time.Second
	late := time.NewTimer(within)
	defer late.Stop()
	o := outgoing{text, make(chan error, 1)}
	select {
	case s.out <- o:
	case <-late.C:
		return fmt.Errorf("%w: the port takes no bytes", jig.ErrUnresponsive)
	}
	select {
	case err := <-o.sent:
		return err
	case <-late.C:
		return fmt.Errorf("%w: the port takes no bytes", jig.ErrUnresponsive)
	}
}

// owe notes that commands will be answered, each once.
func (s *session) owe(ids ...uint32) {
	for _, id := range ids {
		s.owing[id]++
	}
}

// say sends commands, each of which is to be answered, in one piece.
func (s *session) say(commands ...jig.Command) {
	var all []byte
	for _, c := range commands {
		s.owe(c.ID)
		s.charge(c)
		all = c.AppendLine(all)
	}
	s.write(string(all))
}

// charge counts what a command has the jig do.
func (s *session) charge(c jig.Command) {
	switch c.Verb {
	case jig.VerbPluck:
		s.asked.Plucks += c.Count
	case jig.VerbDrive:
		s.asked.DriveWindows += c.Count
	case jig.VerbField:
		s.asked.FieldTakes += c.Count
	}
}

// pull waits for the next line that is no S line. ok is false when none came in time or the port is lost.
func (s *session) pull(ctx context.Context, within time.Duration) (h heard, ok bool) {
	timer := time.NewTimer(within)
	defer timer.Stop()
	for s.err == nil {
		select {
		case h := <-s.in:
			if s.err = h.err; h.err == nil {
				s.watch(&h)
			}
			if h.err == nil && h.bad == nil && h.line.Kind != jig.KindStatus {
				return h, true
			}
		case <-timer.C:
			return heard{}, false
		case <-ctx.Done():
			s.err = ctx.Err()
		}
	}
	return heard{}, false
}

// talk is what came of commands: all lines but S lines, in order.
type talk struct {
	lines []heard
	took  time.Duration // to the last answer
}

// answer returns the answers to a command.
func (t *talk) answers(id uint32) (all []jig.Answer) {
	for _, h := range t.lines {
		if h.line.Kind == jig.KindAnswer && h.line.Answer.ID == id {
			all = append(all, h.line.Answer)
		}
	}
	return all
}

// readings returns the R and F lines.
func (t *talk) readings() (all []heard) {
	for _, h := range t.lines {
		if _, ok := h.seq(); ok {
			all = append(all, h)
		}
	}
	return all
}

// words says what came, of many lines only the first and the last.
func (t *talk) words() string {
	switch n := len(t.lines); n {
	case 0:
		return "nothing"
	case 1:
		return t.lines[0].text
	case 2:
		return t.lines[0].text + "; " + t.lines[1].text
	default:
		return fmt.Sprintf("%s; ... %s; %s", t.lines[0].text, profiles.Count(n-2, "line"), t.lines[n-1].text)
	}
}

// flood is how many lines nothing that is asked for here can bring.
const flood = 2000

// collect gathers lines until all of these commands are answered, nothing has come for so
// long, or too much has.
func (s *session) collect(ctx context.Context, within time.Duration, ids ...uint32) (t talk) {
	start := time.Now()
	open := map[uint32]bool{}
	for _, id := range ids {
		open[id] = true
	}
	for len(open) > 0 && len(t.lines) < flood {
		h, ok := s.pull(ctx, within)
		if !ok {
			return t
		}
		t.lines = append(t.lines, h)
		if h.line.Kind == jig.KindAnswer {
			delete(open, h.line.Answer.ID)
		}
		t.took = h.at.Sub(start)
	}
	return t
}

// silence gathers what comes within a time in which nothing ought to.
func (s *session) silence(ctx context.Context, within time.Duration) (t talk) {
	end := time.Now().Add(within)
	for {
		h, ok := s.pull(ctx, time.Until(end))
		if !ok {
			return t
		}
		t.lines = append(t.lines, h)
	}
}

// ask sends one command and waits for its answer.
func (s *session) ask(ctx context.Context, c jig.Command) (talk, jig.Command) {
	c.ID = s.id()
	return s.askAs(ctx, c), c
}

// askAs is ask with an id that the caller chose.
func (s *session) askAs(ctx context.Context, c jig.Command) talk {
	s.asking = c.Verb == jig.VerbResend
	defer func() { s.asking = false }()
	s.say(c)
	t := s.collect(ctx, patience, c.ID)
	if c.Verb == jig.VerbIdent && len(t.answers(c.ID)) > 0 {
		s.idle = append(s.idle, t.took)
	}
	if c.Verb == jig.VerbResend {
		s.resent = append(s.resent, rate{len(t.readings()), t.took})
	}
	return t
}

// settle brings a jig back to rest after a clause that failed, and tells whether it answers.
func (s *session) settle(ctx context.Context, within time.Duration) (answers bool) {
	s.settling, s.asking = true, true
	defer func() { s.settling, s.asking = false, false }()
	stop := jig.Command{ID: s.id(), Verb: jig.VerbStop}
	s.say(stop)
	t := s.collect(ctx, within, stop.ID)
	s.silence(ctx, still)
	clear(s.owing)
	return len(t.answers(stop.ID)) > 0
}
