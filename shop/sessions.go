package shop

import (
	"cmp"
	"context"
	"iter"
	"slices"
	"time"

	"evenpole/capture/record"
)

// SessionLine is what the record has of one session. Takes are plucks and
// driven windows; quiet readings are counted apart.
type SessionLine struct {
	Session   string         `json:"session"`
	Purpose   record.Purpose `json:"purpose"`
	Pickup    string         `json:"pickup"`
	Batch     string         `json:"batch"`
	Set       string         `json:"string_set"`
	First     time.Time      `json:"first"` // of its readings; zero when none has a time
	Last      time.Time      `json:"last"`
	Strings   int            `json:"strings"`
	Good      int            `json:"good"`  // takes that count
	Quiet     int            `json:"quiet"` // quiet readings that count
	Flagged   int            `json:"flagged"`
	TakenBack int            `json:"taken_back"`
	Fields    int            `json:"fields"`   // field readings that count
	Operator  string         `json:"operator"` // "" where the record does not tell
	Open      bool           `json:"open"`     // it was begun here and not finished

	strings uint16 // those that have a take that counts, a bit each
}

// Sessions lists the sessions of the record, in the order of their first rows, those of
// readings first. The record is read twice; memory grows with sessions.
func (s *Shop) Sessions(ctx context.Context) ([]SessionLine, error) {
	holds, err := record.HoldsIn(s.Dir())
	if err != nil {
		return nil, err
	}
	var list sessionList
	if !Missing(s.ReadingsFile()) || Missing(s.fieldsFile()) { // without either, that is said
		err = eachStanding(ctx, "readings", s.Readings(), func(r *record.Reading, why record.Reason) { list.of(r.Session).add(r, why) })
		if err != nil {
			return nil, err
		}
	}
	if !Missing(s.fieldsFile()) {
		err = eachStanding(ctx, "fields", fieldRows(s.fieldsFile()), func(f *record.FieldReading, why record.Reason) { list.of(f.Session).addField(f, why) })
		if err != nil {
			return nil, err
		}
	}
	open, who := holds.Open(), holds.Operators()
	purposes := holds.Purposes()
	for i := range list.lines {
		l := &list.lines[i]
		l.Operator, l.Open = who[l.Session], open[l.Session] && l.Good+l.Quiet+l.Flagged+l.Fields > 0
		l.Purpose = cmp.Or(l.Purpose, purposes[l.Session])
	}
	return slices.Clip(list.lines), nil
}

// sessionList is sessions by their names.
type sessionList struct {
	lines []SessionLine
	at    map[string]int
}

// of finds or adds a session.
func (l *sessionList) of(session string) *SessionLine {
	i, known := l.at[session]
	if !known {
		if l.at == nil {
			l.at = map[string]int{}
		}
		i = len(l.lines)
		l.at[session] = i
		l.lines = append(l.lines, SessionLine{Session: session})
	}
	return &l.lines[i]
}

// eachStanding goes through rows, twice, and hands on those that are no retractions and
// repeat no other, with why they do not count.
func eachStanding[T any, P interface {
	*T
	record.Row
}](ctx context.Context, what string, rows iter.Seq2[T, error], do func(*T, record.Reason)) error {
	var all, again record.Standing
	for r, err := range until(ctx, what, rows) {
		if err != nil {
			return err
		}
		all.Meet(P(&r))
	}
	for r, err := range until(ctx, what, rows) {
		if err != nil {
			return err
		}
		ref, why := again.Meet(P(&r))
		switch {
		case why == record.TakesBack, why == record.Repeated:
			continue
		case all.IsTakenBack(ref):
			why = record.TakenBack
		}
		do(&r, why)
	}
	return nil
}

// add counts a row, which is no retraction and repeats no other. What is mounted is what
// the session's last rows say, as they are those that were filed anew.
func (l *SessionLine) add(r *record.Reading, why record.Reason) {
	l.Purpose, l.Pickup, l.Batch, l.Set = r.Purpose, r.Pickup, r.Batch, r.StringSet
	l.spans(r.Time)
	switch {
	case why == record.TakenBack:
		l.TakenBack++
	case !r.AsTake().Good:
		l.Flagged++
	case r.Mode == record.Quiet:
		l.Quiet++
	default:
		l.Good++
		if bit := uint16(1) << r.String; l.strings&bit == 0 {
			l.strings |= bit
			l.Strings++
		}
	}
}

// addField counts a field reading likewise.
func (l *SessionLine) addField(f *record.FieldReading, why record.Reason) {
	l.Pickup, l.Batch = cmp.Or(f.Pickup, l.Pickup), cmp.Or(f.Batch, l.Batch)
	l.spans(f.Time)
	switch {
	case why == record.TakenBack:
		l.TakenBack++
	case !f.AsTake().Good:
		l.Flagged++
	default:
		l.Fields++
	}
}

// spans has the session's time reach to a reading's.
func (l *SessionLine) spans(t time.Time) {
	if t.IsZero() {
		return
	}
	if l.First.IsZero() || t.Before(l.First) {
		l.First = t
	}
	if t.After(l.Last) {
		l.Last = t
	}
}
