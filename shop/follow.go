package shop

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/fit/level"
	"evenpole/profiles"
)

// Live is a capture as it runs, for people who watch it. One goroutine uses it at a time.
type Live struct {
	Session string // "" before it has begun
	Takes   []Take // the last ones, the newest last

	strings []profiles.String
	result  capture.Result // of which the tallies are as they are now
	rows    []record.Reading
	last    *record.ID
	levels  []StringLevel // of rows; nil where they have changed since
	pace    capture.Pace
}

// Take is a take as it landed.
type Take struct {
	Mode    record.Mode
	Number  int     // of the string, or of the probe's position
	Level   float64 // mV; of the probe mT
	Refused string  // why it does not count; "" when it does
	Note    string
}

// LiveString is how far a string, or a position of the probe, has got.
type LiveString struct {
	Number       int
	Note         string // its pitch; "" where the mount has none
	Good, Wanted int
	Quiet        level.Figure // mV
	Pitch        string       // against its note; "" when not known
	StringLevel
}

// mostTakes is how many takes are shown, the last ones.
const mostTakes = 12

// NewLive is a capture of what a mount says, before it has begun.
func NewLive(m *profiles.Mount) *Live { return &Live{strings: m.Strings} }

// Begun says how far the session has got, with its rows so far: see [Shop.RowsBefore].
func (l *Live) Begun(r *capture.Result, rows []record.Reading) {
	l.Session, l.rows, l.levels = r.Session, rows, nil
	l.result = capture.Result{Session: r.Session, Tallies: slices.Clone(r.Tallies)}
}

// Rest ends what is known of how fast takes are made, as before a pause.
func (l *Live) Rest() { l.pace = capture.Pace{} }

// Landed adds a row that was kept. Rows of other sessions are no part of it.
func (l *Live) Landed(p capture.Progress, at time.Time) {
	if p.Session == "" {
		return
	}
	if p.Reading != nil {
		l.rows, l.levels = append(l.rows, *p.Reading), nil
		if id, ok := p.Reading.ID(); ok {
			l.last = &id
		}
	}
	l.Takes = append(l.Takes, Take{p.Mode, p.Number, p.Level, p.Refused, p.Note})
	l.Takes = slices.Delete(l.Takes, 0, max(0, len(l.Takes)-mostTakes))
	if t := l.tally(p.Mode, p.Number); t != nil {
		t.Good, t.Wanted = p.Good, p.Wanted
	}
	l.pace.Heard(at)
}

func (l *Live) tally(mode record.Mode, number int) *capture.Tally {
	for i := range l.result.Tallies {
		if t := &l.result.Tallies[i]; t.Mode == mode && t.Number == number {
			return t
		}
	}
	return nil
}

// Last is the reading that can be taken back; nil without one.
func (l *Live) Last() *record.ID { return l.last }

// TookBack says that the last reading was taken back; rows are the session's now.
func (l *Live) TookBack(rows []record.Reading) {
	l.rows, l.levels, l.last = rows, nil, nil
	if len(l.Takes) == 0 {
		return
	}
	take := &l.Takes[len(l.Takes)-1]
	if t := l.tally(take.Mode, take.Number); t != nil && take.Refused == "" {
		t.Good--
	}
	take.Refused = "taken back"
}

// Next is what is made next, in a word or two, with what more there is to say of it; ""
// before it has begun.
func (l *Live) Next() (what, more string) {
	if l.Session == "" {
		return "", ""
	}
	missing := l.result.Missing()
	if len(missing) == 0 {
		return "Done", ""
	}
	t := missing[0]
	more = fmt.Sprintf("take %d of %d", t.Good+1, t.Wanted)
	switch {
	case t.Mode == record.Quiet:
		return fmt.Sprintf("Quiet %d", t.Number), "hands off: the quiet level"
	case t.Mode == record.Probe:
		return fmt.Sprintf("Position %d", t.Number), more
	case l.note(t.Number) != "":
		more = l.note(t.Number) + ", " + more
	}
	return fmt.Sprintf("String %d", t.Number), more
}

func (l *Live) note(number int) string {
	if number < 1 || number > len(l.strings) {
		return ""
	}
	return l.strings[number-1].Note
}

// Left says how many takes are left, and about how long they take; "" before it has begun.
func (l *Live) Left() string {
	if l.Session == "" {
		return ""
	}
	n := l.result.Left()
	left := profiles.Count(n, "take") + " left"
	d, ok := l.pace.Remaining(n)
	switch {
	case !ok || n == 0:
		return left
	case d < time.Minute:
		return fmt.Sprintf("%s, about %.0f s", left, d.Seconds())
	}
	return fmt.Sprintf("%s, about %.0f min", left, d.Minutes())
}

// LeftToDo is how many good takes are missing.
func (l *Live) LeftToDo() int { return l.result.Left() }

// Strings is how far each string has got, or each position of the probe.
func (l *Live) Strings() []LiveString {
	unknown := level.Figure(math.NaN())
	var out []LiveString
	at := map[int]int{}
	add := func(number int) *LiveString {
		i, ok := at[number]
		if !ok {
			i = len(out)
			at[number] = i
			out = append(out, LiveString{Number: number, Note: l.note(number), Quiet: unknown, StringLevel: StringLevel{Level: unknown, Within: unknown, Scatter: unknown, Balance: unknown}})
		}
		return &out[i]
	}
	for _, t := range l.result.Tallies {
		if s := add(t.Number); t.Mode != record.Quiet {
			s.Good, s.Wanted = t.Good, t.Wanted
		}
	}
	if len(out) == 0 { // not begun
		for i := range l.strings {
			add(i + 1)
		}
	}
	for _, r := range l.rows {
		if i, ok := at[r.String]; ok && r.Mode != record.Quiet {
			out[i].Quiet = level.Figure(r.Quiet)
		}
	}
	for _, known := range l.figures() {
		if i, ok := at[known.String]; ok {
			s := &out[i]
			s.StringLevel = known
			if known.Freq > 0 {
				s.Pitch = cmp.Or(profiles.WrongPitch(s.Note, known.Freq), "at its note")
			}
		}
	}
	return out
}

// OffPitch says which strings do not sound at their notes, by their takes; "" for none.
func (l *Live) OffPitch() string {
	var off []string
	for _, s := range l.Strings() {
		if how := profiles.WrongPitch(s.Note, s.Freq); how != "" {
			off = append(off, fmt.Sprintf("string %d %s", s.Number, how))
		}
	}
	if off == nil {
		return ""
	}
	return "not at its note: " + strings.Join(off, "; ") + ": is the mount that of what is on the jig? A check of it cannot conform"
}

// figures are the levels of the rows.
func (l *Live) figures() []StringLevel {
	if l.levels == nil && len(l.rows) > 0 {
		l.levels, _ = Levels(l.rows) // rows in memory have no error of their own
	}
	return l.levels
}

// What is the take's string or position, for people.
func (t Take) What() string { return record.TakeGroup{Mode: t.Mode, Number: t.Number}.String() }

// Size is the take's level with its unit.
func (t Take) Size() string {
	if t.Mode == record.Probe {
		return profiles.Sprintf("%.3f mT", t.Level)
	}
	return fmt.Sprintf("%.3f mV", math.Abs(t.Level))
}

// Fate says whether the take was kept, and why not.
func (t Take) Fate() string {
	words := "kept"
	if t.Refused != "" {
		words = "refused: " + t.Refused
	}
	if t.Note != "" && t.Note != t.Refused {
		words += " (" + t.Note + ")"
	}
	return words
}

// RowsBefore are the rows that the record has of a capture that has begun.
func (s *Shop) RowsBefore(ctx context.Context, r *capture.Result) ([]record.Reading, error) {
	if !r.Resumed {
		return nil, nil
	}
	return s.SessionRows(ctx, r.Session)
}
