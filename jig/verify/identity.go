package verify

import (
	"context"
	"fmt"
	"slices"
	"time"

	"evenpole/jig"
	"evenpole/profiles"
)

// clause is something that the protocol wants, and how to find out. look says what came,
// and whether it is as expected.
type clause struct {
	name     string
	section  string // of firmware-notes
	expected string
	look     func(context.Context, *session) (came string, result Result)
}

// verdict is the result of a yes-or-no question.
func verdict(ok bool) Result {
	if ok {
		return Pass
	}
	return Fail
}

// The sections of firmware-notes.
const (
	theLine     = "The line"
	fromJig     = "From jig to host"
	fromHost    = "From host to jig"
	whatItDoes  = "What a jig does when"
	sequence    = "Sequence, boot, clock"
	timing      = "Timing"
	flagSection = "Flags"
)

// arrive finds out who is there, as a host does: STOP, then IDENT. What comes before that
// was meant for somebody else.
func (s *session) arrive(ctx context.Context) error {
	s.settle(ctx, silent)
	for range 3 {
		ask := jig.Command{ID: s.id(), Verb: jig.VerbIdent}
		s.say(ask)
		t := s.collect(ctx, silent, ask.ID)
		if s.err != nil {
			return s.err
		}
		for _, h := range t.lines {
			if h.line.Kind == jig.KindIdent {
				s.ident = h.line.Ident
				clear(s.faults)
				return nil
			}
		}
	}
	if !s.synced {
		return fmt.Errorf("%w: no good line", jig.ErrSilent)
	}
	return fmt.Errorf("%w: no I line to STOP and IDENT", jig.ErrUnresponsive)
}

var identityClauses = []clause{
	{"ident", fromJig, "to IDENT one I line, then A", lookIdent},
	{"ident-same", fromJig, "the same I line each time", lookIdentSame},
	{"status", timing, "an S line every second, never more than 1.5 s apart", lookStatus},
}

func lookIdent(ctx context.Context, s *session) (string, Result) {
	t, c := s.ask(ctx, jig.Command{Verb: jig.VerbIdent})
	ok := len(t.lines) == 2 && t.lines[0].line.Kind == jig.KindIdent && isDone(&t, c.ID)
	return t.words(), verdict(ok)
}

// isDone tells whether a command was answered once, by A, with the last line.
func isDone(t *talk, id uint32) bool {
	return answered(t, id, jig.Done) && t.lines[len(t.lines)-1].line.Kind == jig.KindAnswer
}

// answered tells whether a command was answered once, with this code.
func answered(t *talk, id uint32, code jig.Code) bool {
	all := t.answers(id)
	return len(all) == 1 && all[0].Code == code
}

func lookIdentSame(ctx context.Context, s *session) (string, Result) {
	for range 5 {
		t, _ := s.ask(ctx, jig.Command{Verb: jig.VerbIdent})
		for _, h := range t.lines {
			if h.line.Kind == jig.KindIdent && h.line.Ident != s.ident {
				return h.text, Fail
			}
		}
	}
	return "5 times the same", Pass
}

// lookStatus waits at rest for S lines; those that come while the jig works are watched
// over to the end.
func lookStatus(ctx context.Context, s *session) (string, Result) {
	const rest = 3500 * time.Millisecond
	before := s.status.at
	s.silence(ctx, rest)
	if s.status.at.Equal(before) {
		return fmt.Sprintf("none for %.1f s", rest.Seconds()), Fail
	}
	return "in time at rest", Pass
}

// standing are the clauses that must hold of every line of a run.
var standing = []clause{
	always("framing", theLine, "every line with its CRC, at most 160 bytes, as the page says"),
	always("boot", sequence, "every line of this power-up names its boot"),
	always("numbering", sequence, "seq grows by one with each R or F line, and with nothing else"),
	always("status-seq", fromJig, "an S line names the seq used last"),
	always("clock", sequence, "ms never runs backwards"),
	always("status-busy", timing, "S lines while the jig works, too"),
	always("answers", fromJig, "one answer a command, and none that was not due"),
	always("resend-same", sequence, "a reading that comes again says what it said"),
	{"prompt", timing, "what needs nothing mechanical is answered within 0.5 s", lookPrompt},
}

// always is a clause that every line is watched for.
func always(name, section, expected string) clause {
	return clause{name, section, expected, func(_ context.Context, s *session) (string, Result) {
		found := s.faults[name]
		if found.count == 0 {
			return "always so", Pass
		}
		return fmt.Sprintf("%s not: %s", profiles.Count(found.count, "time"), found.first), Fail
	}}
}

// lookPrompt takes the median, so that a pause of this computer does not count.
func lookPrompt(_ context.Context, s *session) (string, Result) {
	if len(s.idle) == 0 {
		return "nothing to go by", Skipped
	}
	took := middle(s.idle)
	return fmt.Sprintf("%.1f ms (median)", took.Seconds()*1000), verdict(took <= prompt)
}

// middle is the median.
func middle(all []time.Duration) time.Duration {
	sorted := slices.Sorted(slices.Values(all))
	return sorted[len(sorted)/2]
}
