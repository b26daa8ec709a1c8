package verify

import (
	"context"
	"fmt"

	"evenpole/jig"
	"evenpole/profiles"
)

var queueClauses = []clause{
	{"order", whatItDoes, "two commands at once: run and answered in the order in which they came", lookOrder},
	{"repeat-done", whatItDoes, "the id of a finished command again: its old answer, and no reading", lookRepeatDone},
	{"repeat-running", whatItDoes, "the id of a running command again: done once, answered once", lookRepeatRunning},
	{"repeat-refused", whatItDoes, "the id of a refused command again: the same refusal", lookRepeatRefused},
	{"ident-forgets", whatItDoes, "after IDENT, an id of earlier is a new command", lookForgets},
	{"queue", whatItDoes, "room for one command that runs and at least 4 that wait, then E 6", lookQueue},
	{"busy-forgotten", whatItDoes, "the id that got E 6 again, with room: done", lookBusyForgotten},
	{"ident-full", whatItDoes, "IDENT to a jig whose queue is full: not refused; done, or ended by STOP", lookIdentFull},
	{"stop", whatItDoes, "STOP in the middle: E 5 for what runs and for what waits, then A", lookStop},
	{"stop-rest", whatItDoes, "no reading after the A of STOP", lookStopRest},
	{"stop-id", whatItDoes, "STOP with the id of a finished command acts all the same", lookStopID},
}

// quietWindows is a QUIET of string 1 with an id of its own.
func (s *session) quietWindows(count int) jig.Command {
	c := jig.QuietCommand(1, count)
	c.ID = s.id()
	return c
}

// positions says where in a talk the answers to commands stand, -1 for none.
func positions(t *talk, ids ...uint32) (at []int) {
	for _, id := range ids {
		where := -1
		for i, h := range t.lines {
			if h.line.Kind == jig.KindAnswer && h.line.Answer.ID == id {
				where = i
			}
		}
		at = append(at, where)
	}
	return at
}

func lookOrder(ctx context.Context, s *session) (string, Result) {
	first, second := s.quietWindows(2), s.quietWindows(1)
	s.say(first, second)
	t := s.collect(ctx, patience, first.ID, second.ID)
	at := positions(&t, first.ID, second.ID)
	return t.words(), verdict(len(t.lines) == 5 && at[0] == 2 && at[1] == 4)
}

func lookRepeatDone(ctx context.Context, s *session) (string, Result) {
	c := s.quietWindows(1)
	s.askAs(ctx, c)
	t := s.askAs(ctx, c)
	after := s.silence(ctx, still)
	t.lines = append(t.lines, after.lines...)
	return t.words(), verdict(len(t.lines) == 1 && isDone(&t, c.ID))
}

func lookRepeatRunning(ctx context.Context, s *session) (string, Result) {
	c := s.quietWindows(3)
	s.say(c)
	s.owing[c.ID]++ // a quick jig is done before it hears it again, and answers once more
	s.write(string(c.AppendLine(nil)))
	t := s.collect(ctx, patience, c.ID)
	after := s.silence(ctx, still)
	t.lines = append(t.lines, after.lines...)
	answers := len(t.answers(c.ID))
	s.owing[c.ID] = 0
	return t.words(), verdict(len(t.readings()) == 3 && (answers == 1 || answers == 2) && len(t.lines) == 3+answers)
}

func lookRepeatRefused(ctx context.Context, s *session) (string, Result) {
	line := seal(fmt.Sprintf("C,%d,QUIET,1", s.id()))
	var t talk
	for range 2 {
		s.owe(s.nextID)
		s.write(line)
		more := s.collect(ctx, patience, s.nextID)
		t.lines = append(t.lines, more.lines...)
	}
	same := len(t.lines) == 2 && t.lines[0].text == t.lines[1].text
	return t.words(), verdict(same && t.lines[0].line.Answer.Code == jig.BadArgument)
}

func lookForgets(ctx context.Context, s *session) (string, Result) {
	c := s.quietWindows(1)
	s.askAs(ctx, c)
	s.ask(ctx, jig.Command{Verb: jig.VerbIdent})
	t := s.askAs(ctx, c)
	return t.words(), verdict(len(t.readings()) == 1 && isDone(&t, c.ID))
}

// long is a command that a jig does not finish soon.
const long = jig.MaxCount

// most is how many commands are sent to a jig that never says that it is busy.
const most = 40

// fill sends one long command and short ones until one is refused. refused is 0 when none was.
func (s *session) fill(ctx context.Context) (sent []jig.Command, refused uint32, t talk) {
	sent = []jig.Command{s.quietWindows(long)}
	for range 5 {
		sent = append(sent, s.quietWindows(1))
	}
	s.say(sent...)
	for {
		more := s.silence(ctx, prompt)
		t.lines = append(t.lines, more.lines...)
		for _, c := range sent {
			if answered(&t, c.ID, jig.Busy) {
				return sent, c.ID, t
			}
		}
		if len(sent) >= most || s.err != nil {
			return sent, 0, t
		}
		next := s.quietWindows(1)
		sent = append(sent, next)
		s.say(next)
	}
}

// halt stops what runs and returns all that came of it.
func (s *session) halt(ctx context.Context) (stop jig.Command, t talk) {
	stop = jig.Command{ID: s.id(), Verb: jig.VerbStop}
	s.say(stop)
	return stop, s.collect(ctx, patience, stop.ID)
}

func lookQueue(ctx context.Context, s *session) (string, Result) {
	sent, refused, t := s.fill(ctx)
	_, rest := s.halt(ctx)
	t.lines = append(t.lines, rest.lines...)
	for i, c := range sent {
		switch {
		case c.ID == refused && i >= 5:
			return fmt.Sprintf("E 6 to command %d", i+1), Pass
		case c.ID == refused:
			return fmt.Sprintf("E 6 to command %d already", i+1), Fail
		case len(t.answers(c.ID)) == 0:
			return fmt.Sprintf("no answer to command %d", i+1), Fail
		}
	}
	if len(t.readings()) >= long {
		return "too quick to be filled", Pass
	}
	return fmt.Sprintf("no E 6 to any of %d commands", len(sent)), Fail
}

func lookBusyForgotten(ctx context.Context, s *session) (string, Result) {
	_, refused, _ := s.fill(ctx)
	s.halt(ctx)
	if refused == 0 {
		return "no command was refused", Skipped
	}
	c := jig.QuietCommand(1, 1)
	c.ID = refused
	t := s.askAs(ctx, c)
	return t.words(), verdict(len(t.readings()) == 1 && isDone(&t, c.ID))
}

func lookIdentFull(ctx context.Context, s *session) (string, Result) {
	_, refused, _ := s.fill(ctx)
	ident := jig.Command{ID: s.id(), Verb: jig.VerbIdent}
	s.say(ident)
	t := s.silence(ctx, prompt)
	_, rest := s.halt(ctx)
	t.lines = append(t.lines, rest.lines...)
	if refused == 0 {
		return "no command was refused", Skipped
	}
	return t.words(), verdict(answered(&t, ident.ID, jig.Done) || answered(&t, ident.ID, jig.Stopped))
}

// ended tells whether a command was stopped, or was done before.
func ended(t *talk, c jig.Command, made int) bool {
	return answered(t, c.ID, jig.Stopped) && made < c.Count || answered(t, c.ID, jig.Done) && made >= c.Count
}

// interrupt stops a long command after its first reading, with a short one that waits.
func interrupt(ctx context.Context, s *session) (running, waiting, stop jig.Command, t talk) {
	running, waiting = s.quietWindows(long), s.quietWindows(1)
	s.say(running, waiting)
	for len(t.readings()) == 0 && s.err == nil {
		h, ok := s.pull(ctx, patience)
		if !ok {
			break
		}
		t.lines = append(t.lines, h)
	}
	stop, rest := s.halt(ctx)
	t.lines = append(t.lines, rest.lines...)
	return running, waiting, stop, t
}

func lookStop(ctx context.Context, s *session) (string, Result) {
	running, waiting, stop, t := interrupt(ctx, s)
	made := len(t.readings())
	at := positions(&t, running.ID, waiting.ID, stop.ID)
	inOrder := at[0] >= 0 && at[0] < at[1] && at[1] < at[2]
	ok := inOrder && ended(&t, running, min(made, long)) && ended(&t, waiting, max(made-long, 0)) && answered(&t, stop.ID, jig.Done)
	return fmt.Sprintf("%s; %s", profiles.Count(made, "reading"), answersOf(&t)), verdict(ok)
}

// answersOf lists the answers of a talk.
func answersOf(t *talk) (text string) {
	for _, h := range t.lines {
		if h.line.Kind == jig.KindAnswer {
			text += h.text + "; "
		}
	}
	if text == "" {
		return "no answer"
	}
	return text[:len(text)-2]
}

// lookStopRest watches for longer than the quickest takes last, after a command that was stopped.
func lookStopRest(ctx context.Context, s *session) (string, Result) {
	interrupt(ctx, s)
	t := s.silence(ctx, 2*still)
	return t.words(), verdict(len(t.lines) == 0)
}

func lookStopID(ctx context.Context, s *session) (string, Result) {
	used := s.quietWindows(1)
	s.askAs(ctx, used)
	running := s.quietWindows(long)
	stop := jig.Command{ID: used.ID, Verb: jig.VerbStop}
	s.say(running, stop)
	t := s.collect(ctx, patience, running.ID, stop.ID)
	made, at := len(t.readings()), positions(&t, running.ID, stop.ID)
	ok := ended(&t, running, made) && answered(&t, stop.ID, jig.Done) && at[0] < at[1]
	return fmt.Sprintf("%s; %s", profiles.Count(made, "reading"), answersOf(&t)), verdict(ok)
}
