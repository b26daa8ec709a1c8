package capture

import (
	"fmt"
	"io"
	"iter"
	"regexp"
	"strconv"
	"time"
)

// What a session captures.
const (
	ofReadings = "readings"
	ofFields   = "fields"
)

// A hold is one row of sessions.csv: from AfterSeq on, what a jig makes in one
// power-up was commanded by this session, until the next row of that power-up.
// Without a session, and all that belongs to one, it was not commanded by this
// shop: a session that is complete ends so.
type hold struct {
	time     time.Time
	session  string
	purpose  Purpose
	kind     string // ofReadings or ofFields
	jig      string
	boot     string
	afterSeq uint32
	pickup   string
	mount    string // name of the copy under mounts/
}

// holdRow is a row of sessions.csv as text.
type holdRow struct {
	Time     string `csv:"time"`
	Session  string `csv:"session"`
	Purpose  string `csv:"purpose"`
	Kind     string `csv:"kind"`
	Jig      string `csv:"jig"`
	Boot     string `csv:"boot"`
	AfterSeq string `csv:"after_seq"`
	Pickup   string `csv:"pickup"`
	Mount    string `csv:"mount"`
}

func (w *holdRow) parse(c *cells) hold {
	seq, _ := c.seq("after_seq", w.AfterSeq)
	return hold{
		time:     c.stamp("time", w.Time),
		session:  w.Session,
		purpose:  word(c, "purpose", w.Purpose, purposes...),
		kind:     word(c, "kind", w.Kind, ofReadings, ofFields),
		jig:      w.Jig,
		boot:     w.Boot,
		afterSeq: seq,
		pickup:   w.Pickup,
		mount:    w.Mount,
	}
}

func (h *hold) row() holdRow {
	return holdRow{
		Time:     stampText(h.time),
		Session:  h.session,
		Purpose:  string(h.purpose),
		Kind:     h.kind,
		Jig:      h.jig,
		Boot:     h.boot,
		AfterSeq: seqText(h.afterSeq, true),
		Pickup:   h.pickup,
		Mount:    h.mount,
	}
}

// readHolds reads sessions.csv.
func readHolds(r io.Reader, name string) iter.Seq2[hold, error] {
	return read(r, name, columnsOf[holdRow](), func(w *holdRow, c *cells, _ int) hold { return w.parse(c) })
}

// holds are the rows of sessions.csv, oldest first.
type holds []hold

// latest returns the newest session of a purpose, a kind and a mount, "" when
// there is none.
func (all holds) latest(purpose Purpose, kind, mount string) string {
	for i := len(all) - 1; i >= 0; i-- {
		if h := &all[i]; h.purpose == purpose && h.kind == kind && h.mount == mount {
			return h.session
		}
	}
	return ""
}

// first returns the earliest sequence number after which a power-up was held;
// ok is false when it never was.
func (all holds) first(jig, boot string) (seq uint32, ok bool) {
	for _, h := range all {
		if h.jig == jig && h.boot == boot {
			return h.afterSeq, true
		}
	}
	return 0, false
}

// owner returns who commanded a reading: the session of the last hold of its
// power-up that began before it, "" when there is none.
func (all holds) owner(jig, boot string, seq uint32) string {
	for i := len(all) - 1; i >= 0; i-- {
		if h := &all[i]; h.jig == jig && h.boot == boot && later(seq, h.afterSeq) {
			return h.session
		}
	}
	return ""
}

// later tells whether sequence number a comes after b, across the wrap from
// 2^32-1 to 0 (serial arithmetic: R. Elz, R. Bush, RFC 1982, 1996).
func later(a, b uint32) bool { return int32(a-b) > 0 }

var sessionForm = regexp.MustCompile(`^s([0-9]{1,9})$`)

// sessionNumber returns the number in a session's id, 0 for an id of another
// form.
func sessionNumber(id string) int {
	m := sessionForm.FindStringSubmatch(id)
	if m == nil {
		return 0
	}
	n, _ := strconv.Atoi(m[1]) // nine digits fit
	return n
}

// sessionID is the reverse of sessionNumber.
func sessionID(n int) string { return fmt.Sprintf("s%03d", n) }
