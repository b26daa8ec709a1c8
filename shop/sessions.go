package shop

import (
	"context"
	"slices"
	"time"

	"evenpole/capture/record"
)

// SessionLine is what the record has of one session's readings. Takes are plucks and
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

	strings uint16 // those that have a take that counts, a bit each
}

// Sessions lists the sessions of the record's readings, in the order of their first rows.
// The record is read twice; memory grows with sessions.
func (s *Shop) Sessions(ctx context.Context) ([]SessionLine, error) {
	var all, again record.Standing
	for r, err := range until(ctx, "readings", s.Readings()) {
		if err != nil {
			return nil, err
		}
		all.Meet(&r)
	}
	var list []SessionLine
	at := map[string]int{}
	for r, err := range until(ctx, "readings", s.Readings()) {
		if err != nil {
			return nil, err
		}
		ref, why := again.Meet(&r)
		if why == record.TakesBack || why == record.Repeated {
			continue
		}
		if all.IsTakenBack(ref) {
			why = record.TakenBack
		}
		i, known := at[r.Session]
		if !known {
			i = len(list)
			at[r.Session] = i
			list = append(list, SessionLine{Session: r.Session})
		}
		list[i].add(&r, why)
	}
	return slices.Clip(list), nil
}

// add counts a row, which is no retraction and repeats no other. What is mounted is what
// the session's last rows say, as they are those that were filed anew.
func (l *SessionLine) add(r *record.Reading, why record.Reason) {
	l.Purpose, l.Pickup, l.Batch, l.Set = r.Purpose, r.Pickup, r.Batch, r.StringSet
	if !r.Time.IsZero() {
		if l.First.IsZero() || r.Time.Before(l.First) {
			l.First = r.Time
		}
		if r.Time.After(l.Last) {
			l.Last = r.Time
		}
	}
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
