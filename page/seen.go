package page

import (
	"fmt"
	"slices"

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
	out := seen{State: b.state, Words: b.words, Yours: b.job != nil && b.holder == holder, Held: b.job != nil, Running: b.stop != nil}
	switch {
	case b.state == pausing:
	case b.stop != nil:
		out.Can = "pause"
	case b.job != nil && b.state != complete:
		out.Can = "go-on"
	}
	if b.job == nil {
		return out
	}
	out.Back = b.live.Last() != nil
	out.About = fmt.Sprintf("pickup %s, for %s, session %s, jig %s", b.job.opt.Mount.Pickup, b.job.opt.Purpose, orDash(b.live.Session), orDash(b.jig))
	if b.operator != "" {
		out.About += ", operator " + b.operator
	}
	out.Next, out.NextNote = b.live.Next()
	out.Left = b.live.Left()
	for _, x := range b.live.Strings() {
		out.Strings = append(out.Strings, stringSeenOf(x))
	}
	for _, t := range slices.Backward(b.live.Takes) {
		out.Takes = append(out.Takes, takeSeen{t.What(), t.Size(), t.Refused == "", t.Fate()})
	}
	return out
}

// stringSeenOf is a string as pages show it.
func stringSeenOf(x shop.LiveString) stringSeen {
	s := stringSeen{Number: x.Number, Note: orDash(x.Note), Takes: unknown, Quiet: known("%.3f", x.Quiet), Level: known("%.2f", x.Level),
		Within: known("±%.2f", x.Within), Balance: plus(x.Balance), Pitch: orDash(x.Pitch)}
	if x.Wanted > 0 {
		s.Takes = fmt.Sprintf("%d of %d", x.Good, x.Wanted)
	}
	if x.Balance.Known() {
		s.Bar = min(1, max(-1, float64(x.Balance)/barScale))
	}
	return s
}
