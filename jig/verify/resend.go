package verify

import (
	"context"
	"fmt"

	"evenpole/jig"
	"evenpole/profiles"
)

// store is how many readings a jig keeps at least.
const store = 256

var resendClauses = []clause{
	{"resend", sequence, "RESEND of what was made: each reading once, unchanged, then A", lookResend},
	{"resend-gone", sequence, "RESEND of what was never made: E 3 and '<seq> is gone', no reading", lookGone},
	{"resend-partly", sequence, "RESEND that reaches beyond the last reading: what is there, then E 3 that names the first one missing", lookPartly},
	{"resend-boot", sequence, "RESEND for another boot: E 3 and '<from> is gone', no reading", lookOtherBoot},
	{"resend-bad", fromHost, "RESEND with a boot of 5 digits: E 2", lookBadBoot},
	{"resend-during", whatItDoes, "RESEND while a command runs: both done, in either order", lookDuring},
}

// resend is a command for a range of readings of this power-up.
func resend(s *session, from, to uint32) jig.Command {
	return jig.Command{Verb: jig.VerbResend, Boot: s.ident.Boot, From: from, To: to}
}

// rangeFault says what is wrong with readings that ought to be from..to; nothing when they are.
func rangeFault(t *talk, from, to uint32) (wrong string) {
	next := from
	for _, h := range t.readings() {
		if seq, _ := h.seq(); seq != next {
			return fmt.Sprintf("%d in place of %d", seq, next)
		}
		next++
	}
	if next != to+1 {
		return fmt.Sprintf("%d of %s: %s", next-from, profiles.Count(int(to-from+1), "reading"), t.words())
	}
	return ""
}

// again asks for a range that must be there.
func again(ctx context.Context, s *session, from, to uint32) (string, Result) {
	before := s.faults["resend-same"].count
	t, c := s.ask(ctx, resend(s, from, to))
	if wrong := rangeFault(&t, from, to); wrong != "" {
		return wrong, Fail
	}
	if changed := s.faults["resend-same"]; changed.count > before {
		return changed.last, Fail
	}
	if !isDone(&t, c.ID) {
		return t.words(), Fail
	}
	return fmt.Sprintf("%d to %d, then A", from, to), Pass
}

// seen is how many of the last readings this session has seen made.
func (s *session) seen() (n uint32) {
	for n < store {
		if _, ok := s.known[s.last-n]; !ok {
			return n
		}
		n++
	}
	return n
}

func lookResend(ctx context.Context, s *session) (string, Result) {
	n := s.seen()
	if n == 0 {
		return "no reading was made", Skipped
	}
	return again(ctx, s, s.last-n+1, s.last)
}

// gone looks whether an answer says that a reading is gone.
func gone(t *talk, id, seq uint32) bool {
	all := t.answers(id)
	return len(all) == 1 && all[0].Code == jig.NotAvailable && all[0].Text == fmt.Sprintf("%d is gone", seq)
}

func lookGone(ctx context.Context, s *session) (string, Result) {
	t, c := s.ask(ctx, resend(s, s.last+1, s.last+1))
	return t.words(), verdict(len(t.lines) == 1 && gone(&t, c.ID, s.last+1))
}

func lookPartly(ctx context.Context, s *session) (string, Result) {
	if s.seen() == 0 {
		return "no reading was made", Skipped
	}
	t, c := s.ask(ctx, resend(s, s.last, s.last+2))
	return t.words(), verdict(rangeFault(&t, s.last, s.last) == "" && gone(&t, c.ID, s.last+1))
}

func lookOtherBoot(ctx context.Context, s *session) (string, Result) {
	c := resend(s, s.last, s.last)
	c.Boot ^= 0x5A5A5A5A
	t, c := s.ask(ctx, c)
	return t.words(), verdict(len(t.lines) == 1 && gone(&t, c.ID, s.last))
}

func lookBadBoot(ctx context.Context, s *session) (string, Result) {
	return refusedWith(ctx, s, jig.BadArgument, "RESEND,12345,1,1")
}

func lookDuring(ctx context.Context, s *session) (string, Result) {
	if s.seen() == 0 {
		return "no reading was made", Skipped
	}
	was := s.last
	quiet, old := jig.QuietCommand(1, 3), resend(s, was, was)
	quiet.ID, old.ID = s.id(), s.id()
	s.asking = true
	defer func() { s.asking = false }()
	s.say(quiet, old)
	t := s.collect(ctx, patience, quiet.ID, old.ID)
	ok := answered(&t, quiet.ID, jig.Done) && answered(&t, old.ID, jig.Done) && len(t.readings()) == 4 && s.last == was+3
	return t.words(), verdict(ok)
}

// lookStore fills the jig's memory and asks for all that it must hold.
func lookStore(ctx context.Context, s *session) (string, Result) {
	const parts = 2 // commands that are enough
	for range parts {
		need := store - int(s.seen())
		if need <= 0 {
			break
		}
		if _, wrong := series(ctx, s, jig.QuietCommand(1, min(need, jig.MaxCount))); wrong != "" {
			return "while it was filled: " + wrong, Fail
		}
	}
	if n := s.seen(); n < store {
		return fmt.Sprintf("only the last %d readings have numbers in a row", n), Fail
	}
	return again(ctx, s, s.last-store+1, s.last)
}

// storeClause is the one that takes long.
func storeClause(quick bool) clause {
	c := clause{"store", sequence, "the last 256 readings once more, unchanged, then A", lookStore}
	if quick {
		c.look = func(context.Context, *session) (string, Result) {
			return "left out: it takes some 200 quiet windows", Skipped
		}
	}
	return c
}
