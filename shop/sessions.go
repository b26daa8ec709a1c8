package shop

import (
	"cmp"
	"context"
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
// readings first. Memory grows with sessions, and with rows that were taken back.
func (s *Shop) Sessions(ctx context.Context) ([]SessionLine, error) {
	var list sessionList
	if !Missing(s.ReadingsFile()) || Missing(s.fieldsFile()) { // without either, that is said
		back, err := record.Retractions(s.ReadingsFile())
		if err != nil {
			return nil, err
		}
		count := list.countReadings(back)
		for r, err := range until(ctx, "readings", s.Readings()) {
			if err != nil {
				return nil, err
			}
			count.Add(&r)
		}
		count.End()
	}
	back, err := record.FieldRetractions(s.fieldsFile())
	if err != nil {
		return nil, err
	}
	return s.withFields(ctx, &list, back)
}

// withFields completes a list of sessions of readings by those of fields, of which some
// rows take readings back, and by what was held for sessions.
func (s *Shop) withFields(ctx context.Context, list *sessionList, back []record.FieldReading) ([]SessionLine, error) {
	holds, err := record.HoldsIn(s.Dir())
	if err != nil {
		return nil, err
	}
	if !Missing(s.fieldsFile()) {
		count := record.Count(back, func(f *record.FieldReading) { list.of(f.Session).meetField(f) },
			func(f *record.FieldReading, why record.Reason) { list.of(f.Session).countField(f, why) })
		for f, err := range until(ctx, "fields", fieldRows(s.fieldsFile())) {
			if err != nil {
				return nil, err
			}
			count.Add(&f)
		}
		count.End()
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
	last  int // of lines: where the row before was added
}

// of finds or adds a session.
func (l *sessionList) of(session string) *SessionLine {
	if l.last < len(l.lines) && l.lines[l.last].Session == session {
		return &l.lines[l.last]
	}
	i, known := l.at[session]
	if !known {
		if l.at == nil {
			l.at = map[string]int{}
		}
		i = len(l.lines)
		l.at[session] = i
		l.lines = append(l.lines, SessionLine{Session: session})
	}
	l.last = i
	return &l.lines[i]
}

// countReadings begins to count the rows of readings, of which some take readings back.
func (l *sessionList) countReadings(back []record.Reading) *record.Counting[record.Reading, *record.Reading] {
	return record.Count(back, func(r *record.Reading) { l.of(r.Session).meet(r) }, func(r *record.Reading, why record.Reason) { l.of(r.Session).count(r, why) })
}

// meet takes note of what is mounted, which is what the session's last rows say, as they
// are those that were filed anew.
func (l *SessionLine) meet(r *record.Reading) {
	l.Purpose, l.Pickup, l.Batch, l.Set = r.Purpose, r.Pickup, r.Batch, r.StringSet
	l.spans(r.Time)
}

// count counts a row.
func (l *SessionLine) count(r *record.Reading, why record.Reason) {
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

// meetField takes note of what is under the probe.
func (l *SessionLine) meetField(f *record.FieldReading) {
	l.Pickup, l.Batch = cmp.Or(f.Pickup, l.Pickup), cmp.Or(f.Batch, l.Batch)
	l.spans(f.Time)
}

// countField counts a field reading.
func (l *SessionLine) countField(f *record.FieldReading, why record.Reason) {
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
