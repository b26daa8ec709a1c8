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
	o, measured, issued, err := s.overview(ctx)
	if err != nil {
		return nil, err
	}
	holds, err := record.HoldsIn(s.Dir())
	if err != nil {
		return nil, err
	}
	reasons, err := s.reasons(ctx)
	if err != nil {
		return nil, err
	}
	full := func(l SessionLine) SessionRecord {
		x := SessionRecord{SessionLine: l, Level: level.Figure(math.NaN()), Levels: []StringLevel{}, Mount: holds.Mount(l.Session), Reasons: append([]string{}, reasons[l.Session]...)}
		for _, m := range measured {
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
		for _, c := range issued.OfPickup(id) {
			r.Pickup.Certificates = append(r.Pickup.Certificates, Issued{c.Certificate, c.Order, string(c.Verdict.Verdict), c.Session})
		}
	}
	if r.Pickup == nil && r.Session == nil {
		return nil, bad("%w: %.60q", ErrUnknownID, id)
	}
	return r, nil
}

// reasons are the notes of the rows that took readings back, by session.
func (s *Shop) reasons(ctx context.Context) (map[string][]string, error) {
	said := map[string][]string{}
	note := func(session, why string, status record.Status) {
		if status == record.Retracted && why != "" && !slices.Contains(said[session], why) {
			said[session] = append(said[session], why)
		}
	}
	if !Missing(s.ReadingsFile()) {
		for r, err := range until(ctx, "readings", s.Readings()) {
			if err != nil {
				return nil, err
			}
			note(r.Session, r.Note, r.Status)
		}
	}
	if !Missing(s.fieldsFile()) {
		for f, err := range until(ctx, "fields", fieldRows(s.fieldsFile())) {
			if err != nil {
				return nil, err
			}
			note(f.Session, f.Note, f.Status)
		}
	}
	return said, nil
}
