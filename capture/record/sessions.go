package record

import (
	"fmt"
	"io"
	"iter"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"time"

	"evenpole/capture/record/table"
)

// What a session captures.
const (
	OfReadings = "readings"
	OfFields   = "fields"
)

// A Hold is one row of sessions.csv: what a jig makes in one power-up after AfterSeq
// was commanded by this session, until the next hold of that power-up. A hold without
// a session, purpose, kind, pickup and mount ends the one before: what the jig makes
// from there on was not commanded by this shop. A hold with a session and without a jig
// says that the session is from then on one of another mount, as it was filed anew.
type Hold struct {
	Time     time.Time
	Session  string
	Purpose  Purpose
	Kind     string // OfReadings or OfFields
	Jig      string
	Boot     string
	AfterSeq uint32
	Pickup   string
	Mount    string // name of the copy under mounts/
	Operator string // who captures; "" is not told
}

// holdColumns are the columns of sessions.csv.
var holdColumns = table.New(
	table.Time("time", func(h *Hold) *time.Time { return &h.Time }),
	name("session", func(h *Hold) *string { return &h.Session }),
	table.Word("purpose", func(h *Hold) *Purpose { return &h.Purpose }, Purposes()),
	table.Word("kind", func(h *Hold) *string { return &h.Kind }, []string{OfReadings, OfFields}),
	name("jig", func(h *Hold) *string { return &h.Jig }),
	name("boot", func(h *Hold) *string { return &h.Boot }),
	table.Sequence("after_seq", func(h *Hold) *uint32 { return &h.AfterSeq }, nil),
	name("pickup", func(h *Hold) *string { return &h.Pickup }),
	name("mount", func(h *Hold) *string { return &h.Mount }),
	name(operatorColumn, func(h *Hold) *string { return &h.Operator }),
)

// neededOfHolds are the columns that every sessions.csv has.
var neededOfHolds = without(holdColumns.Names, []string{operatorColumn})

// readHolds reads sessions.csv.
func readHolds(r io.Reader, name string) iter.Seq2[Hold, error] {
	return table.Read(r, name, holdColumns, neededOfHolds)
}

// Holds are the rows of sessions.csv, oldest first.
type Holds []Hold

// HoldsIn reads the sessions.csv of a folder; there are no holds where it is missing.
func HoldsIn(dir string) (Holds, error) {
	var all Holds
	for h, err := range ReadFile(filepath.Join(dir, SessionsFile), readHolds) {
		if err != nil {
			return nil, err
		}
		all = append(all, h)
	}
	return all, nil
}

// Latest returns the newest session of a purpose, a kind and a mount, "" when
// there is none. The mount of a session is that of its newest hold. Sessions of
// recordings are none of a jig's.
func (all Holds) Latest(purpose Purpose, kind, mount string) string {
	return all.latest(purpose, kind, mount, func(jig string) bool { return !IsRecorder(jig) })
}

// LatestOf is likewise the newest session of readings from one recorder.
func (all Holds) LatestOf(recorder string, purpose Purpose, mount string) string {
	return all.latest(purpose, OfReadings, mount, func(jig string) bool { return jig == recorder })
}

// latest is the newest session that only such jigs were held for; a hold of no jig is of
// any.
func (all Holds) latest(purpose Purpose, kind, mount string, of func(jig string) bool) string {
	others := map[string]bool{}
	for i := range all {
		if h := &all[i]; h.Jig != "" && !of(h.Jig) {
			others[h.Session] = true
		}
	}
	newer := map[string]bool{}
	for i := len(all) - 1; i >= 0; i-- {
		h := &all[i]
		if h.Purpose == purpose && h.Kind == kind && h.Mount == mount && !newer[h.Session] && !others[h.Session] {
			return h.Session
		}
		newer[h.Session] = true
	}
	return ""
}

// Is reports whether a session is of a purpose and a mount, as its newest hold says.
func (all Holds) Is(session string, purpose Purpose, mount string) bool {
	for i := len(all) - 1; i >= 0; i-- {
		if h := &all[i]; h.Session == session {
			return h.Purpose == purpose && h.Mount == mount
		}
	}
	return false
}

// Recorded returns the session that a recording was filed in last, by whatever name its
// recorder had, and that name; "" where it was not.
func (all Holds) Recorded(boot string) (session, jig string) {
	for _, h := range slices.Backward(all) {
		if IsRecorder(h.Jig) && h.Boot == boot && h.Session != "" {
			return h.Session, h.Jig
		}
	}
	return "", ""
}

// First returns AfterSeq of the earliest hold of a power-up; ok is false where there
// is none.
func (all Holds) First(jig, boot string) (seq uint32, ok bool) {
	for _, h := range all {
		if h.Jig == jig && h.Boot == boot {
			return h.AfterSeq, true
		}
	}
	return 0, false
}

// Owner returns the session that commanded a reading: that of the last hold of its
// power-up that began before it, "" where there is none.
func (all Holds) Owner(jig, boot string, seq uint32) string {
	for i := len(all) - 1; i >= 0; i-- {
		if h := &all[i]; h.Jig == jig && h.Boot == boot && Later(seq, h.AfterSeq) {
			return h.Session
		}
	}
	return ""
}

// Later tells whether sequence number a comes after b, across the wrap from
// 2^32-1 to 0 (serial arithmetic: R. Elz, R. Bush, RFC 1982, 1996).
func Later(a, b uint32) bool { return int32(a-b) > 0 }

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

// SessionID returns the id of the session of a number: "s007".
func SessionID(n int) string { return fmt.Sprintf("s%03d", n) }

// Open names the sessions that were begun and not finished: that still hold a jig's
// power-up, or lost it to another session before they had all that they wanted.
func (all Holds) Open() map[string]bool {
	held := map[powerUp]string{} // by which session
	open := map[string]bool{}
	for _, h := range all {
		if h.Jig == "" { // says which mount a session is of
			continue
		}
		p := powerUp{h.Jig, h.Boot}
		if h.Session == "" {
			delete(open, held[p])
		} else {
			open[h.Session] = true
		}
		held[p] = h.Session
	}
	return open
}

// Purposes names what each session was captured for.
func (all Holds) Purposes() map[string]Purpose {
	what := map[string]Purpose{}
	for _, h := range all {
		if h.Session != "" {
			what[h.Session] = h.Purpose
		}
	}
	return what
}

// Mount is the name of the copy of what a session had mounted, as its last hold says; ""
// where it has none.
func (all Holds) Mount(session string) string {
	for _, h := range slices.Backward(all) {
		if h.Session == session {
			return h.Mount
		}
	}
	return ""
}
