package page

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"evenpole/capture/record"
	"evenpole/fit/level"
	"evenpole/profiles"
	"evenpole/shop"
)

// seen is the bench as pages show it: all of it text, and lengths of bars.
type seen struct {
	State    string       `json:"state"`
	Words    string       `json:"words"`
	Yours    bool         `json:"yours"` // the page's browser holds the jig
	Held     bool         `json:"held"`  // some browser does
	Running  bool         `json:"running"`
	Can      string       `json:"can"`  // what the main button does now: "pause", "go-on" or ""
	Back     bool         `json:"back"` // there is a take to take back
	Next     string       `json:"next"`
	NextNote string       `json:"next_note"`
	Left     string       `json:"left"`
	About    string       `json:"about"` // which pickup, session, jig
	Strings  []stringSeen `json:"strings"`
	Takes    []takeSeen   `json:"takes"` // the newest first
}

type stringSeen struct {
	Number  int     `json:"number"`
	Note    string  `json:"note"`
	Takes   string  `json:"takes"`
	Quiet   string  `json:"quiet"`
	Level   string  `json:"level"`
	Within  string  `json:"within"`
	Balance string  `json:"balance"`
	Bar     float64 `json:"bar"` // of the balance, -1 to 1 of the scale
	Pitch   string  `json:"pitch"`
}

type takeSeen struct {
	String string `json:"string"`
	Level  string `json:"level"`
	Kept   bool   `json:"kept"`
	Words  string `json:"words"`
}

// barScale is how many dB the whole of a bar is, either side.
const barScale = 6

// shown shows the bench to a browser.
func (b *bench) shown(holder string) seen {
	b.mu.Lock()
	defer b.mu.Unlock()
	out := seen{State: b.state, Words: b.words, Yours: b.job != nil && b.holder == holder, Held: b.job != nil, Running: b.stop != nil, Back: b.last != nil}
	switch {
	case b.state == pausing:
	case b.stop != nil:
		out.Can = "pause"
	case b.job != nil && b.state != complete:
		out.Can = "go-on"
	}
	if b.job != nil {
		out.About = fmt.Sprintf("pickup %s, for %s, session %s, jig %s", b.job.mount.Pickup, b.job.purpose, orDash(b.session), orDash(b.jig))
		out.Next, out.NextNote = b.next()
		out.Left = b.left()
		out.Strings = b.strings()
	}
	for _, t := range slices.Backward(b.takes) {
		out.Takes = append(out.Takes, t.seen())
	}
	return out
}

// next is which string is plucked next, in letters for two metres; b.mu is held.
func (b *bench) next() (big, note string) {
	if b.result == nil {
		return "", ""
	}
	missing := b.result.Missing()
	if len(missing) == 0 {
		return "Done", ""
	}
	t := missing[0]
	if t.Mode == record.Quiet {
		return fmt.Sprintf("Quiet %d", t.Number), "hands off: the quiet level"
	}
	return fmt.Sprintf("String %d", t.Number), fmt.Sprintf("%s, take %d of %d", b.job.mount.Strings[t.Number-1].Note, t.Good+1, t.Wanted)
}

// left is what is left, and about how long it takes; b.mu is held.
func (b *bench) left() string {
	if b.result == nil {
		return ""
	}
	n := b.result.Left()
	if d, ok := b.pace.Remaining(n); ok && n > 0 {
		return fmt.Sprintf("%d takes left, about %s", n, aboutHowLong(d))
	}
	return fmt.Sprintf("%d takes left", n)
}

func aboutHowLong(d time.Duration) string {
	if d < time.Minute {
		return fmt.Sprintf("%.0f s", d.Seconds())
	}
	return fmt.Sprintf("%.0f min", d.Minutes())
}

// strings is how far each string has got; b.mu is held.
func (b *bench) strings() []stringSeen {
	out := make([]stringSeen, len(b.job.mount.Strings))
	for i, s := range b.job.mount.Strings {
		out[i] = stringSeen{Number: i + 1, Note: s.Note, Takes: unknown, Quiet: unknown, Level: unknown, Within: unknown, Balance: unknown, Pitch: unknown}
	}
	if b.result != nil {
		for _, t := range b.result.Tallies {
			if t.Mode != record.Quiet && t.Number <= len(out) {
				out[t.Number-1].Takes = fmt.Sprintf("%d of %d", t.Good, t.Wanted)
			}
		}
	}
	for _, r := range b.rows {
		if r.Mode != record.Quiet && r.String >= 1 && r.String <= len(out) {
			out[r.String-1].Quiet = known("%.3f", level.Figure(r.Quiet))
		}
	}
	levels, err := shop.Levels(b.rows)
	if err != nil { // rows in memory have no error of their own
		return out
	}
	for _, l := range levels {
		if l.String >= 1 && l.String <= len(out) {
			out[l.String-1].fill(l)
		}
	}
	return out
}

// fill fills in the level of a string.
func (s *stringSeen) fill(l shop.StringLevel) {
	s.Level, s.Within, s.Balance = known("%.2f", l.Level), known("±%.2f", l.Within), plus(l.Balance)
	if l.Balance.Known() {
		s.Bar = min(1, max(-1, float64(l.Balance)/barScale))
	}
	if l.Freq > 0 {
		s.Pitch = cmp.Or(profiles.WrongPitch(s.Note, l.Freq), "at its note")
	}
}

// seen is a take in words.
func (t take) seen() takeSeen {
	out := takeSeen{String: fmt.Sprintf("string %d", t.Number), Level: fmt.Sprintf("%.3f mV", math.Abs(t.Level)), Kept: t.Refused == "", Words: "kept"}
	if t.Quiet {
		out.String = fmt.Sprintf("quiet, string %d", t.Number)
	}
	if t.Refused != "" {
		out.Words = "refused: " + t.Refused
	}
	if t.Note != "" && t.Note != t.Refused {
		out.Words += " (" + t.Note + ")"
	}
	return out
}
