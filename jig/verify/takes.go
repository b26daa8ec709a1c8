package verify

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"evenpole/jig"
	"evenpole/profiles"
)

// takes is how many plucks, or driven windows, of the first string are made for their scatter.
const takes = 10

// driveMHz is the pitch in mHz to which an exciter is set.
const driveMHz = 220_000

// sample is what the measurements are made of.
type sample struct {
	quiet, moved []jig.Reading
	quietTook    time.Duration // a window
	movedTook    time.Duration // a take
}

// takeClauses are those of QUIET, PLUCK, DRIVE and FIELD. What the jig measures goes to m.
func takeClauses(m *sample) []clause {
	return []clause{
		{"quiet", fromHost, "QUIET of 10: 10 R lines, mode Q, take 1 to 10, then A", m.lookQuiet},
		{"pluck", fromHost, "PLUCK of 10: 10 R lines, mode P, take 1 to 10, then A; E 3 where there is no plucker", m.lookPluck},
		{"pluck-all", fromHost, "one pluck of each other string: its R line, then A; E 3 where none is mounted", lookOthers},
		{"drive", fromHost, "DRIVE of 10: 10 R lines, mode D, with the pitch that was set, then A; E 3 where there is no exciter", m.lookDrive},
		{"field", fromHost, "FIELD of 2: 2 F lines, then A; E 3 where there is no probe", lookField},
		{"levels", fromJig, "RMS no more than peak, peak no more than full scale, a window longer than 0 ms", m.lookLevels},
		{"clipped", flagSection, "flag 1 where the peak is above 98 % of full scale, and only near it", m.lookClipped},
	}
}

// series has the jig make takes of one place and looks whether they are what was asked for.
func series(ctx context.Context, s *session, c jig.Command) (t talk, wrong string) {
	t, c = s.ask(ctx, c)
	made := t.readings()
	switch {
	case len(made) != c.Count:
		return t, fmt.Sprintf("%s: %s", profiles.Count(len(made), "reading"), t.words())
	case !isDone(&t, c.ID) || len(t.lines) != c.Count+1:
		return t, t.words()
	}
	for i, h := range made {
		if !fits(c, i+1, &h.line) {
			return t, fmt.Sprintf("take %d: %s", i+1, h.text)
		}
	}
	return t, ""
}

// fits tells whether a line is a take of a command.
func fits(c jig.Command, take int, l *jig.Line) bool {
	if c.Verb == jig.VerbField {
		return l.Kind == jig.KindField && l.Field.Position == c.Position && l.Field.Take == take
	}
	x := l.Reading
	mode := map[jig.Verb]jig.Mode{jig.VerbPluck: jig.Pluck, jig.VerbDrive: jig.Driven, jig.VerbQuiet: jig.Quiet}[c.Verb]
	if c.Verb == jig.VerbDrive && x.FreqMHz != c.FreqMHz {
		return false
	}
	return l.Kind == jig.KindReading && x.Mode == mode && x.String == c.String && x.Take == take
}

// levels are the readings of a talk.
func levels(t *talk) (all []jig.Reading) {
	for _, h := range t.readings() {
		if h.line.Kind == jig.KindReading {
			all = append(all, h.line.Reading)
		}
	}
	return all
}

// finding is what a series of takes comes to.
func finding(c jig.Command, wrong string) (string, Result) {
	if wrong != "" {
		return wrong, Fail
	}
	return profiles.Count(c.Count, "take") + ", then A", Pass
}

func (m *sample) lookQuiet(ctx context.Context, s *session) (string, Result) {
	c := jig.QuietCommand(1, takes)
	t, wrong := series(ctx, s, c)
	m.quiet, m.quietTook = levels(&t), t.took/takes
	return finding(c, wrong)
}

func (m *sample) lookPluck(ctx context.Context, s *session) (string, Result) {
	if s.ident.Excite == jig.Drive {
		return refusedAs(ctx, s, jig.PluckCommand(1, 1))
	}
	return m.lookMoved(ctx, s, jig.PluckCommand(1, takes))
}

func (m *sample) lookDrive(ctx context.Context, s *session) (string, Result) {
	c := jig.DriveCommand(1, driveMHz, takes)
	if s.ident.Excite != jig.Drive {
		c.Count = 1
		return refusedAs(ctx, s, c)
	}
	return m.lookMoved(ctx, s, c)
}

func (m *sample) lookMoved(ctx context.Context, s *session, c jig.Command) (string, Result) {
	t, wrong := series(ctx, s, c)
	m.moved, m.movedTook = levels(&t), t.took/takes
	return finding(c, wrong)
}

// refusedAs looks whether what a jig has not got ends with E 3.
func refusedAs(ctx context.Context, s *session, c jig.Command) (string, Result) {
	t, c := s.ask(ctx, c)
	return t.words(), verdict(len(t.lines) == 1 && answered(&t, c.ID, jig.NotAvailable))
}

// lookOthers plucks the strings that are not string 1 once each.
func lookOthers(ctx context.Context, s *session) (string, Result) {
	if s.ident.Excite == jig.Drive {
		return "this jig does not pluck", Skipped
	}
	var bare []string
	for n := 2; n <= s.ident.Strings; n++ {
		t, wrong := series(ctx, s, jig.PluckCommand(n, 1))
		if all := t.lines; len(all) == 1 && all[0].line.Answer.Code == jig.NotAvailable {
			bare = append(bare, fmt.Sprint(n))
		} else if wrong != "" {
			return fmt.Sprintf("string %d: %s", n, wrong), Fail
		}
	}
	if len(bare) > 0 {
		return "as asked; E 3 for string " + strings.Join(bare, ", "), Pass
	}
	return profiles.Count(s.ident.Strings-1, "string") + " as asked", Pass
}

func lookField(ctx context.Context, s *session) (string, Result) {
	c := jig.FieldCommand(1, 2)
	t, wrong := series(ctx, s, c)
	if all := t.lines; len(all) == 1 && all[0].line.Answer.Code == jig.NotAvailable {
		return "no probe: " + all[0].text, Skipped
	}
	return finding(c, wrong)
}

// all are the level readings that were made of string 1.
func (m *sample) all() []jig.Reading { return slices.Concat(m.quiet, m.moved) }

func (m *sample) lookLevels(_ context.Context, s *session) (string, Result) {
	for _, x := range m.all() {
		if x.RMSUV > x.PeakUV || x.PeakUV > s.ident.FullScaleUV+s.ident.FullScaleUV/50 || x.WindowMS == 0 {
			return fmt.Sprintf("seq %d: RMS %d uV, peak %d uV of %d uV, window %d ms", x.Seq, x.RMSUV, x.PeakUV, s.ident.FullScaleUV, x.WindowMS), Fail
		}
	}
	return profiles.Count(len(m.all()), "reading") + " so", Pass
}

func (m *sample) lookClipped(_ context.Context, s *session) (string, Result) {
	for _, x := range m.all() {
		share := float64(x.PeakUV) / float64(s.ident.FullScaleUV)
		if flagged := x.Flags&jig.Clipped != 0; share > 0.98 && !flagged || share < 0.5 && flagged {
			return fmt.Sprintf("seq %d: peak at %.0f %% of full scale, flags %X", x.Seq, 100*share, uint32(x.Flags)), Fail
		}
	}
	return profiles.Count(len(m.all()), "reading") + " so", Pass
}
