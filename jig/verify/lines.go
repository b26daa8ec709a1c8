package verify

import (
	"context"
	"fmt"
	"hash/crc32"
	"strings"
	"time"

	"evenpole/jig"
)

var lineClauses = []clause{
	{"unknown", fromJig, "a word that is no command: E 1", func(ctx context.Context, s *session) (string, Result) {
		return refusedWith(ctx, s, jig.UnknownCommand, "BOIL", "ident")
	}},
	{"argument", fromJig, "fields missing or too many, no number, count 0, or above 4294967295: E 2", func(ctx context.Context, s *session) (string, Result) {
		return refusedWith(ctx, s, jig.BadArgument, "QUIET,1", "QUIET,1,1,1", "QUIET,x,1", "QUIET,1,", "QUIET,1,0", "QUIET,1,4294967296")
	}},
	{"string", fromJig, "no such string: E 2", func(ctx context.Context, s *session) (string, Result) {
		return refusedWith(ctx, s, jig.BadArgument, "QUIET,0,1", fmt.Sprintf("QUIET,%d,1", s.ident.Strings+1), "QUIET,-1,1")
	}},
	{"crc", theLine, "a command with a wrong CRC: no answer, no reading", func(ctx context.Context, s *session) (string, Result) {
		return ignored(ctx, s, func(body string) string { return fmt.Sprintf("%s*%08X\n", body, crc32.ChecksumIEEE([]byte(body))^1) })
	}},
	{"crc-case", theLine, "a CRC in lower case is no CRC: no answer", func(ctx context.Context, s *session) (string, Result) {
		return ignored(ctx, s, func(body string) string {
			for crc32.ChecksumIEEE([]byte(body))&0xF < 10 { // with a letter in it
				body += ","
			}
			return fmt.Sprintf("%s*%08x\n", body, crc32.ChecksumIEEE([]byte(body)))
		})
	}},
	{"crc-missing", theLine, "a command without a CRC: no answer", func(ctx context.Context, s *session) (string, Result) {
		return ignored(ctx, s, func(body string) string { return body + "\n" })
	}},
	{"no-id", whatItDoes, "no C, or no usable id: no answer", lookNoID},
	{"too-long", theLine, "a line of more than 160 bytes, with the right CRC: no answer", func(ctx context.Context, s *session) (string, Result) {
		return ignored(ctx, s, func(body string) string {
			return seal("C," + strings.Repeat("0", jig.MaxLine) + strings.TrimPrefix(body, "C,"))
		})
	}},
	{"garbage", theLine, "after rubbish and a line feed, the next command is heard", lookGarbage},
	{"too-long-after", theLine, "after 2000 bytes without a line feed, then one, the next command is heard", lookAfterLong},
	{"crlf", theLine, "a command that ends in CR LF is heard", func(ctx context.Context, s *session) (string, Result) {
		return heardAs(ctx, s, "", func(line string) []string { return []string{strings.TrimSuffix(line, "\n") + "\r\n"} })
	}},
	{"pieces", theLine, "a command that comes in pieces is heard", func(ctx context.Context, s *session) (string, Result) {
		return heardAs(ctx, s, "", func(line string) []string { return []string{line[:1], line[1:5], line[5 : len(line)-1], "\n"} })
	}},
}

// refusedWith looks whether commands are refused with a code, and nothing else comes.
func refusedWith(ctx context.Context, s *session, code jig.Code, words ...string) (string, Result) {
	for _, w := range words {
		id := s.id()
		s.owe(id)
		s.write(seal(fmt.Sprintf("C,%d,%s", id, w)))
		t := s.collect(ctx, patience, id)
		if len(t.lines) != 1 || !answered(&t, id, code) {
			return fmt.Sprintf("to %s: %s", w, t.words()), Fail
		}
		s.idle = append(s.idle, t.took)
	}
	return fmt.Sprintf("E %d to %s", code, strings.Join(words, "; ")), Pass
}

// ignored looks whether a QUIET that is spoilt stays without an answer and a reading, and
// the next sound one is done.
func ignored(ctx context.Context, s *session, spoil func(body string) string) (string, Result) {
	body := fmt.Sprintf("C,%d,QUIET,1,1", s.id())
	s.write(spoil(body))
	t := s.silence(ctx, still)
	if len(t.lines) > 0 {
		return t.words(), Fail
	}
	return alsoHeard(ctx, s, "nothing")
}

// alsoHeard looks whether an IDENT is answered.
func alsoHeard(ctx context.Context, s *session, came string) (string, Result) {
	c := jig.Command{ID: s.id(), Verb: jig.VerbIdent}
	s.say(c)
	if t := s.collect(ctx, deafAfter, c.ID); !done(&t, c.ID) {
		return fmt.Sprintf("%s; and IDENT after that: %s", came, t.words()), Fail
	}
	return came, Pass
}

func lookNoID(ctx context.Context, s *session) (string, Result) {
	for _, body := range []string{"C,x,IDENT", "Q,1,IDENT", "C", "", "C,,IDENT"} {
		s.write(seal(body))
	}
	t := s.silence(ctx, still)
	if len(t.lines) > 0 {
		return t.words(), Fail
	}
	return alsoHeard(ctx, s, "nothing")
}

func lookGarbage(ctx context.Context, s *session) (string, Result) {
	var rubbish strings.Builder
	for i := range 255 { // every byte but LF, and a line feed at the end
		if b := byte(i * 7); b != '\n' {
			rubbish.WriteByte(b)
		}
	}
	rubbish.WriteByte('\n')
	return heardAs(ctx, s, rubbish.String(), func(line string) []string { return []string{line} })
}

func lookAfterLong(ctx context.Context, s *session) (string, Result) {
	return heardAs(ctx, s, strings.Repeat("C,1,QUIET,", 200)+"\n", func(line string) []string { return []string{line} })
}

// heardAs looks whether a QUIET of one window is done that is sent in pieces, after something else.
func heardAs(ctx context.Context, s *session, before string, cut func(line string) []string) (string, Result) {
	const pause = 20 * time.Millisecond
	c := s.quiet(1)
	s.owe(c.ID)
	s.write(before)
	for _, piece := range cut(string(c.AppendLine(nil))) {
		s.write(piece)
		time.Sleep(pause)
	}
	t := s.collect(ctx, deafAfter, c.ID)
	return t.words(), verdict(len(t.readings()) == 1 && done(&t, c.ID))
}

// deafAfter is how long one quiet window may take before the jig counts as deaf.
const deafAfter = 20 * time.Second
