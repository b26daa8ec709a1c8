package verdict

import (
	"fmt"
	"iter"
	"maps"
	"math"
	"slices"
	"strings"

	"evenpole/capture/record"
	"evenpole/fit/level"
	"evenpole/profiles"
)

// NotChecked says that the record has nothing to judge a pickup by, and what it
// has instead.
type NotChecked struct {
	Pickup   string
	Purposes map[record.Purpose]int // readings of the pickup, by purpose
	Pickups  []string               // all that the record knows, in order
}

// Error names the capture that is missing.
func (e *NotChecked) Error() string {
	const run = `capture it with "evenpole capture --mount MOUNT --purpose check"`
	if len(e.Purposes) > 0 {
		var has []string
		for _, p := range slices.Sorted(maps.Keys(e.Purposes)) {
			what := fmt.Sprintf("of purpose %q", p)
			if p == "" {
				what = "without a purpose"
			}
			has = append(has, fmt.Sprintf("%d %s", e.Purposes[p], what))
		}
		return fmt.Sprintf("pickup %q: expected readings of purpose %q, got %s; %s", e.Pickup, record.ForCheck, strings.Join(has, ", "), run)
	}
	others := "no pickup"
	if len(e.Pickups) > 0 {
		var names []string
		for _, p := range e.Pickups {
			names = append(names, fmt.Sprintf("%q", p))
		}
		others = profiles.Listed(names)
	}
	return fmt.Sprintf("pickup %q: expected readings of it in the record, got those of %s; %s", e.Pickup, others, run)
}

// session is all readings of one pickup in one session, in the record's order.
type session struct {
	row     record.Reading               // the last one
	first   string                       // jig/boot/seq of the first one; "" when it has none
	strings map[int]*takes               // by string number
	excites map[profiles.Excitation]bool // all that the takes name
	rounds  []*session                   // what it was whenever a capture came back for more takes
	turns   turns
}

// takes are those of one string.
type takes struct {
	row     record.Reading // the first
	levels  []float64      // dB re 1 mV, of the good takes
	freqs   []float64      // Hz, of the good takes that have one
	flagged int            // takes that do not count
	unheard int            // of those, the ones not above the quiet level
	moved   bool           // the rows name more than one height, core or gauge
}

// sessionsOf reads a record once and returns the pickup's sessions of purpose check by
// their latest times, of equals the one furthest down the record last. There is at
// least one. What was taken back is in no session, and what stands twice is there once:
// see [record.Standing].
func sessionsOf(rows iter.Seq2[record.Reading, error], pickup string) ([]*session, error) {
	pickups := map[string]bool{}
	missing := &NotChecked{Pickup: pickup, Purposes: map[record.Purpose]int{}}
	all, err := record.Sift(rows, func(r *record.Reading) bool {
		pickups[r.Pickup] = true
		own := r.Pickup == pickup && r.Status != record.Retracted
		if own && r.Purpose != record.ForCheck {
			missing.Purposes[r.Purpose]++
		}
		return own && r.Purpose == record.ForCheck
	})
	if err != nil {
		return nil, err
	}
	var sessions []*session
	for i := range all {
		if why := all[i].Why; why != record.TakenBack && why != record.Repeated {
			row := all[i].Row
			row.Wrap, _ = profiles.ParseWrap(string(row.Wrap)) // by its one name, however the row spells it
			sessions = file(sessions, &row)
		}
	}
	if len(sessions) == 0 {
		missing.Pickups = slices.Sorted(maps.Keys(pickups))
		return nil, missing
	}
	slices.SortStableFunc(sessions, func(a, b *session) int { return a.row.Time.Compare(b.row.Time) })
	return sessions, nil
}

// file adds a row to its session. Sessions stay in the order of their latest rows.
func file(sessions []*session, r *record.Reading) []*session {
	i := slices.IndexFunc(sessions, func(s *session) bool { return s.row.Session == r.Session })
	if i < 0 {
		s := &session{row: *r, strings: map[int]*takes{}, excites: map[profiles.Excitation]bool{}}
		if id, named := r.ID(); named {
			s.first = fmt.Sprintf("%s/%s/%d", id.Jig, id.Boot, id.Seq)
		}
		s.add(r)
		return append(sessions, s)
	}
	s := sessions[i]
	s.add(r)
	if r.Time.Before(s.row.Time) {
		return sessions
	}
	s.row = *r
	return append(slices.Delete(sessions, i, i+1), s)
}

// add files a take by its string.
func (s *session) add(r *record.Reading) {
	if r.Mode == record.Quiet || r.String <= 0 {
		return
	}
	heard := float64(level.Of(r.RMS, r.Quiet).DB())
	flagged := r.Status != "" && r.Status != record.OK
	if good := !flagged && known(heard); good && s.turns.again(r) {
		s.rounds = append(s.rounds, s.soFar())
	}
	t := s.strings[r.String]
	if t == nil {
		t = &takes{row: *r}
		s.strings[r.String] = t
	}
	s.excites[excitation(r)] = true
	t.moved = t.moved || changed(&t.row, r)
	switch {
	case flagged:
		t.flagged++
	case !known(heard):
		t.flagged++
		t.unheard++
	default:
		t.levels = append(t.levels, heard)
		if r.Freq > 0 && known(r.Freq) {
			t.freqs = append(t.freqs, r.Freq)
		}
	}
}

// soFar is a copy of the session that further takes leave as it is.
func (s *session) soFar() *session {
	past := *s
	past.strings, past.excites, past.rounds = map[int]*takes{}, maps.Clone(s.excites), nil
	for i, t := range s.strings {
		one := *t
		past.strings[i] = &one
	}
	return &past
}

// turns follows which string is plucked. A capture makes all takes of one string before
// those of the next, so that a string's second turn belongs to another capture, which
// added takes to the session. Into a recording strings are plucked in any order: it is
// one capture.
type turns struct {
	boot string
	seq  uint32 // the latest of the boot
	now  int
	had  map[int]bool // strings that had their turn in this round
}

// again reports whether a take begins another round. A take that was sent late does
// not, nor one that no jig numbered: a spreadsheet's may stand in any order.
func (t *turns) again(r *record.Reading) bool {
	id, named := r.ID()
	if late := id.Boot == t.boot && id.Seq < t.seq; !named || late || id.Imported() {
		return false
	}
	if record.IsRecorder(id.Jig) {
		another := t.boot != "" && t.boot != id.Boot
		t.boot, t.seq = id.Boot, id.Seq
		return another
	}
	t.boot, t.seq = id.Boot, id.Seq
	if r.String == t.now {
		return false
	}
	round := t.had[r.String]
	if round || t.had == nil {
		t.had = map[int]bool{}
	}
	t.now, t.had[r.String] = r.String, true
	return round
}

// changed reports whether two rows of a string name different lengths.
func changed(a, b *record.Reading) bool {
	differ := func(x, y float64) bool { return known(x) && known(y) && x != y }
	return differ(a.PoleHeight, b.PoleHeight) || a.TwoCoils() && b.TwoCoils() && differ(a.PoleHeight2, b.PoleHeight2) || differ(a.StringHeight, b.StringHeight) ||
		differ(a.Core, b.Core) || differ(a.Gauge, b.Gauge)
}

// relative reports whether the levels are in no known unit: those of a recorder without a
// calibration, all of one recording or of recordings that compare.
func (s *session) relative() bool { return s.row.Scale != "" }

// excitation is how a take's string was set moving; "" when the row does not say.
func excitation(r *record.Reading) profiles.Excitation {
	if r.Mode == record.Drive {
		return profiles.Drive
	}
	return r.Excite
}

func known(x float64) bool { return level.Figure(x).Known() }

// takes returns those of string i, counted from 0.
func (s *session) takes(i int) *takes {
	if t := s.strings[i+1]; t != nil {
		return t
	}
	nan := math.NaN()
	return &takes{row: record.Reading{Core: nan, Gauge: nan, PoleHeight: nan, StringHeight: nan}}
}

// last is the highest string number with a take.
func (s *session) last() int { return slices.Max(append(slices.Collect(maps.Keys(s.strings)), 0)) }

// excite is how all strings were set moving, "" when the rows do not say or
// do not agree.
func (s *session) excite() profiles.Excitation {
	if len(s.excites) != 1 {
		return ""
	}
	for e := range s.excites {
		return e
	}
	return ""
}
