package verify

import (
	"fmt"
	"time"

	"evenpole/jig"
)

// alive is how far S lines may be apart.
const alive = 1500 * time.Millisecond

// heard is a line of the jig, and when it came.
type heard struct {
	at   time.Time
	line jig.Line
	text string       // the line in the plainest form of the protocol, without LF
	bad  *jig.BadLine // in place of a line
	err  error        // the port ended
}

// seq returns the number of a reading.
func (h *heard) seq() (seq uint32, ok bool) {
	switch h.line.Kind {
	case jig.KindReading:
		return h.line.Reading.Seq, true
	case jig.KindField:
		return h.line.Field.Seq, true
	}
	return 0, false
}

// watcher watches over what must hold of every line, whatever clause is being looked at.
type watcher struct {
	ident    jig.Ident
	synced   bool // a good line came: bad ones from here on are the jig's
	numbered bool // last is known
	last     uint32
	known    map[uint32]string // readings by seq
	asking   bool              // for readings that came before
	owing    map[uint32]int    // answers that are due, by id of the command
	settling bool              // after a failure: what comes is of the clause that failed
	ms       uint32
	status   heard // the S line before

	faults map[string]breaches // by clause, of what must hold of every line
}

// breaches are how often a clause was broken, and by what.
type breaches struct {
	count       int
	first, last string
}

// fault notes a breach of what must hold of every line.
func (w *watcher) fault(name, format string, args ...any) {
	if !w.settling {
		b := w.faults[name]
		b.last = fmt.Sprintf(format, args...)
		if b.count++; b.count == 1 {
			b.first = b.last
		}
		w.faults[name] = b
	}
}

// watch looks at what must hold of every line.
func (w *watcher) watch(h *heard) {
	if h.bad != nil {
		if w.synced {
			w.fault("framing", "%v", h.bad)
		}
		return
	}
	w.synced = true
	switch h.line.Kind {
	case jig.KindReading:
		w.watchBoot(h, h.line.Reading.Boot)
		w.watchNumber(h, h.line.Reading.Seq, h.line.Reading.Millis)
	case jig.KindField:
		w.watchBoot(h, h.line.Field.Boot)
		w.watchNumber(h, h.line.Field.Seq, h.line.Field.Millis)
	case jig.KindStatus:
		w.watchBoot(h, h.line.Status.Boot)
		w.watchStatus(h)
	case jig.KindAnswer:
		id := h.line.Answer.ID
		if w.owing[id]--; w.owing[id] < 0 {
			w.fault("answers", "%s was not due", h.text)
			w.owing[id] = 0
		}
	case jig.KindCommand:
		w.fault("framing", "%s is a line of the host", h.text)
	}
}

func (w *watcher) watchBoot(h *heard, boot jig.Boot) {
	if w.ident.Jig != "" && boot != w.ident.Boot {
		w.fault("boot", "%s in place of %v", h.text, w.ident.Boot)
	}
}

// watchNumber follows the sequence: a reading is new and has the next number, or was asked
// for and says what it said before.
func (w *watcher) watchNumber(h *heard, seq, ms uint32) {
	if w.numbered && int32(seq-w.last) <= 0 {
		before, made := w.known[seq]
		switch {
		case !w.asking:
			w.fault("numbering", "%d came once more after %d, and nobody asked", seq, w.last)
		case made && before != h.text:
			w.fault("resend-same", "%s was %s", h.text, before)
		}
		w.known[seq] = h.text
		return
	}
	if w.numbered && seq != w.last+1 {
		w.fault("numbering", "%d after %d", seq, w.last)
	}
	w.numbered, w.last = true, seq
	w.known[seq] = h.text
	w.watchClock(h, ms)
}

func (w *watcher) watchClock(h *heard, ms uint32) {
	if int32(ms-w.ms) < 0 {
		w.fault("clock", "%s after %d ms", h.text, w.ms)
	}
	w.ms = ms
}

// watchStatus looks whether an S line names the last number, and whether it is in time: by
// our clock and by the jig's, so that a pause of this computer is not laid at its door.
func (w *watcher) watchStatus(h *heard) {
	x := h.line.Status
	if w.numbered && x.Seq != w.last {
		w.fault("status-seq", "%s after reading %d", h.text, w.last)
	}
	w.numbered, w.last = true, x.Seq
	w.watchClock(h, x.Millis)
	if was := w.status; !was.at.IsZero() {
		wall, own := h.at.Sub(was.at), time.Duration(x.Millis-was.line.Status.Millis)*time.Millisecond
		if wall > alive && (own > alive || own == 0) {
			w.fault("status-busy", "%.1f s between two S lines", wall.Seconds())
		}
	}
	w.status = *h
}
