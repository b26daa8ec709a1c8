package shop

import (
	"context"
	"errors"
	"math"
	"slices"

	"evenpole/capture/record"
	"evenpole/fit/level"
)

// ErrUnknownID says that the record has neither a pickup nor a session of a name.
var ErrUnknownID = errors.New("the record has no pickup and no session of this name")

// Recorded is what the record has under an id: a pickup, a session, or both.
type Recorded struct {
	ID      string         `json:"id"`
	Pickup  *PickupRecord  `json:"pickup"`  // nil when no pickup is called so
	Session *SessionRecord `json:"session"` // nil when no session is
}

// PickupRecord is a pickup's sessions and certificates.
type PickupRecord struct {
	PickupLine
	Sessions     []SessionRecord `json:"sessions"`
	Certificates []Issued        `json:"certificates"`
}

// SessionRecord is a session, and how loud its strings were.
type SessionRecord struct {
	SessionLine
	Level   level.Figure  `json:"level_mv"`
	Levels  []StringLevel `json:"levels"`
	Mount   string        `json:"mount"`   // the shop's copy of what was mounted; "" when it has none
	Reasons []string      `json:"reasons"` // why readings of it were taken back, each once
}

// Issued is a certificate in short.
type Issued struct {
	Certificate int    `json:"certificate"`
	Order       string `json:"order"`
	Verdict     string `json:"verdict"`
	Session     string `json:"session"`
}

// Recorded looks an id up: that of a pickup or of a session. ErrUnknownID, within an
// *InputError, says that there is neither.
func (s *Shop) Recorded(ctx context.Context, id string) (*Recorded, error) {
	o, err := s.recordOf(ctx, id)
	if err != nil {
		return nil, err
	}
	holds, err := record.HoldsIn(s.Dir())
	if err != nil {
		return nil, err
	}
	reasons := o.reasons()
	full := func(l SessionLine) SessionRecord {
		x := SessionRecord{SessionLine: l, Level: level.Figure(math.NaN()), Levels: []StringLevel{}, Mount: holds.Mount(l.Session), Reasons: append([]string{}, reasons[l.Session]...)}
		for _, m := range o.measured {
			for _, one := range m.Sessions {
				if one.ID == l.Session && m.Pickup == l.Pickup {
					x.Level, x.Levels = one.Level, one.Strings
				}
			}
		}
		return x
	}
	r := &Recorded{ID: id}
	for _, l := range o.Sessions {
		if l.Session == id {
			x := full(l)
			r.Session = &x
		}
	}
	if i := slices.IndexFunc(o.Pickups, func(l PickupLine) bool { return l.Pickup == id }); i >= 0 {
		r.Pickup = &PickupRecord{PickupLine: o.Pickups[i], Certificates: []Issued{}}
		for _, l := range o.Sessions {
			if l.Pickup == id {
				r.Pickup.Sessions = append(r.Pickup.Sessions, full(l))
			}
		}
		for _, c := range o.issued.OfPickup(id) {
			r.Pickup.Certificates = append(r.Pickup.Certificates, Issued{c.Certificate, c.Order, string(c.Verdict.Verdict), c.Session})
		}
	}
	if r.Pickup == nil && r.Session == nil {
		return nil, bad("%w: %.60q", ErrUnknownID, id)
	}
	return r, nil
}

// recordOf reads the whole record for what is called id. Only cells of that are made, unless
// it has takes whose pitch other cells tell.
func (s *Shop) recordOf(ctx context.Context, id string) (wholeRecord, error) {
	tuned := true
	o, err := s.wholeRecord(ctx, func(r *record.Reading) bool {
		wanted := r.Pickup == id || r.Session == id
		tuned = tuned && !(wanted && r.Mode != record.Quiet && !(r.Freq > 0))
		return wanted
	})
	if err != nil || tuned {
		return o, err
	}
	return s.wholeRecord(ctx, func(*record.Reading) bool { return true })
}

// reasons are the notes of the rows that took readings back, by session.
func (x *wholeRecord) reasons() map[string][]string {
	said := map[string][]string{}
	note := func(session, why string) {
		if why != "" && !slices.Contains(said[session], why) {
			said[session] = append(said[session], why)
		}
	}
	for i := range x.back {
		note(x.back[i].Session, x.back[i].Note)
	}
	for i := range x.fieldsBack {
		note(x.fieldsBack[i].Session, x.fieldsBack[i].Note)
	}
	return said
}
