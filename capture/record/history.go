package record

import (
	"slices"

	"evenpole/profiles"
)

// History is what the record has of a jig's power-up and of a session.
type History struct {
	Seen        map[uint32]bool     // sequence numbers of the power-up
	Stands      bool                // whether a reading of the power-up stands: not all were taken back
	Excite      profiles.Excitation // of the power-up's readings
	Takes       []Take              // of the session, those that count
	LastSession int                 // the highest number of any session
	Relative    bool                // of the session: the levels of a row are in no known unit, see [Reading.Relative]
}

// History reads the record for a capture: what it has of a jig's power-up, and of a
// session, "" for none.
func (s *Writer) History(jig, boot, session string) (*History, error) {
	h := &historian{History: History{Seen: map[uint32]bool{}}, jig: jig, boot: boot, session: session}
	for row, err := range ReadFile(s.path(SessionsFile), readHolds) {
		if err != nil {
			return nil, err
		}
		h.LastSession = max(h.LastSession, sessionNumber(row.Session))
	}
	for r, err := range ReadFile(s.path(ReadingsFile), Readings) {
		if err != nil {
			return nil, err
		}
		h.add(aboutReading(&r))
		if r.Jig == jig && r.Boot == boot {
			h.Excite = r.Excite
		}
		h.Relative = h.Relative || session != "" && r.Session == session && r.Relative()
	}
	for f, err := range ReadFile(s.path(FieldsFile), Fields) {
		if err != nil {
			return nil, err
		}
		h.add(aboutField(&f))
	}
	return h.end(), nil
}

// historian gathers a History.
type historian struct {
	History
	jig, boot, session string
	before             string // the session of the row before
	standing           Standing
	takes              []Take // of the session, until it is known which were taken back
	refs               []Ref
	ofPowerUp          []Ref // readings of the power-up, likewise
}

func (h *historian) add(a about) {
	if a.session != h.before {
		h.before = a.session
		h.LastSession = max(h.LastSession, sessionNumber(a.session))
	}
	ref, why := h.standing.Meet(&a)
	if a.id.Jig == h.jig && a.id.Boot == h.boot && a.named {
		h.Seen[a.id.Seq] = true
		if why == Counts {
			h.ofPowerUp = append(h.ofPowerUp, ref)
		}
	}
	if why == Counts && a.session == h.session && h.session != "" {
		h.takes, h.refs = append(h.takes, a.take), append(h.refs, ref)
	}
}

func (h *historian) end() *History {
	for i, t := range h.takes {
		if !h.standing.IsTakenBack(h.refs[i]) {
			h.Takes = append(h.Takes, t)
		}
	}
	h.Stands = slices.ContainsFunc(h.ofPowerUp, func(ref Ref) bool { return !h.standing.IsTakenBack(ref) })
	return &h.History
}
