package shop

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"

	"evenpole/capture/record"
	"evenpole/fit/level"
	"evenpole/fit/verdict"
	"evenpole/profiles"
)

// Overview is what the record holds: what was captured, what each pickup is like, and
// which orders are met.
type Overview struct {
	Sessions []SessionLine `json:"sessions"` // in the order in which they began
	Pickups  []PickupLine  `json:"pickups"`  // the newest first
	Orders   []OrderLine   `json:"orders"`   // by name
}

// PickupLine is a pickup as its fullest session has it, and what came of it.
type PickupLine struct {
	Pickup   string        `json:"pickup"`
	Batch    string        `json:"batch"`
	Session  string        `json:"session"`  // the newest in which as many strings were measured as in any of it
	Measured time.Time     `json:"measured"` // in that session
	Level    level.Figure  `json:"level_mv"` // of all strings together
	Strings  []StringLevel `json:"strings"`
	Open     []string      `json:"open_sessions"` // of it, that were begun and not finished

	Order       string         `json:"order"`       // that it was checked against last; "" for none
	Verdict     verdict.Answer `json:"verdict"`     // of that check
	Certificate int            `json:"certificate"` // its number; 0 for none
	Shipped     bool           `json:"shipped"`     // that certificate says that it conforms
	Since       string         `json:"since"`       // what became of it after that certificate, as Measured.Since says
}

// OrderLine is an order of the shop: met by a pickup, or open.
type OrderLine struct {
	Order       string `json:"order"`
	Customer    string `json:"customer"`
	Pickup      string `json:"pickup"` // that met it; "" while it is open
	Certificate int    `json:"certificate"`
	Tried       int    `json:"tried"`   // pickups that were checked against it
	Problem     string `json:"problem"` // why its file cannot be read; "" when it can
	Twin        string `json:"twin"`    // says that another order of the shop has its id, too; "" where none has
}

// Overview reads the whole record, once. Memory grows with sessions and pickups.
func (s *Shop) Overview(ctx context.Context) (Overview, error) {
	x, err := s.wholeRecord(ctx, func(*record.Reading) bool { return true })
	return x.Overview, err
}

// wholeRecord is an overview, and what it is made of.
type wholeRecord struct {
	Overview
	measured   []Measured
	issued     Certificates
	back       []record.Reading // the rows that take back
	fieldsBack []record.FieldReading
}

// wholeRecord reads the record for an overview: all sessions, and the pickups of the rows
// that are wanted.
func (s *Shop) wholeRecord(ctx context.Context, wanted func(*record.Reading) bool) (x wholeRecord, err error) {
	if x.back, err = record.Retractions(s.ReadingsFile()); err != nil {
		return
	}
	if x.fieldsBack, err = record.FieldRetractions(s.fieldsFile()); err != nil {
		return
	}
	var list sessionList
	if !Missing(s.ReadingsFile()) || Missing(s.fieldsFile()) { // without either, that is said
		count := list.countReadings(x.back)
		if x.measured, err = pickupsOf(noted(until(ctx, "readings", s.Readings()), count.Add), wanted); err != nil {
			return
		}
		count.End()
	}
	if x.Sessions, err = s.withFields(ctx, &list, x.fieldsBack); err != nil {
		return
	}
	if x.issued, err = s.Certificates(); err != nil {
		return
	}
	open := map[string][]string{} // sessions, by their pickups
	for _, l := range x.Sessions {
		if l.Open {
			open[l.Pickup] = append(open[l.Pickup], l.Session)
		}
	}
	for i := range x.measured {
		m := &x.measured[i]
		x.Pickups = append(x.Pickups, pickupLine(m, x.issued, open[m.Pickup]))
	}
	x.Orders, err = s.orderLines(x.issued)
	return
}

// pickupLine tells of a pickup.
func pickupLine(m *Measured, issued Certificates, open []string) PickupLine {
	x := m.Fullest()
	l := PickupLine{Pickup: m.Pickup, Batch: m.Batch, Session: x.ID, Measured: x.Last, Level: x.Level, Strings: x.Strings, Open: append([]string{}, open...)}
	if v := issued.OfPickup(m.Pickup).Newest(); v != nil {
		l.Order, l.Verdict, l.Certificate, l.Shipped = v.Order, v.Verdict, v.Certificate, v.Verdict == verdict.Conforms
		l.Since = m.Since(v)
	}
	return l
}

// Since says what became of a pickup after a certificate of it was issued: that it was captured for a
// check again, or that nothing is left of the session that was judged; "" for nothing.
func (m *Measured) Since(c *verdict.Verdict) string {
	var again, said []string
	left := false
	for i := range m.Sessions {
		x := &m.Sessions[i]
		left = left || x.ID == c.Session
		if x.Purpose == record.ForCheck && !c.Time.IsZero() && x.Last.After(c.Time) {
			again = append(again, x.ID)
		}
	}
	if !left && c.Session != "" {
		said = append(said, fmt.Sprintf("session %s, which that judged, was taken back since", c.Session))
	}
	if again != nil {
		said = append(said, "captured for a check since: "+strings.Join(again, ", "))
	}
	return strings.Join(said, "; ")
}

// OpenOrders are the orders that no pickup has met yet, and those that cannot be read; of
// more than most, the files that were changed last. met and older are how many orders are
// left out for either.
func (s *Shop) OpenOrders(most int) (open []Described[*profiles.Order], met, older int, err error) {
	names, err := s.Orders()
	if err != nil {
		return nil, 0, 0, err
	}
	issued, err := s.Certificates()
	if err != nil {
		return nil, 0, 0, err
	}
	of := issued.byOrder()
	for o := range s.ReadOrders(names) {
		var l OrderLine
		if o.Err == nil {
			l.judge(of[o.What.ID])
		}
		if l.Pickup != "" {
			met++
		} else {
			open = append(open, o)
		}
	}
	if older = len(open) - most; older <= 0 {
		return open, met, 0, nil
	}
	changed := map[string]time.Time{}
	for _, o := range open {
		if info, err := os.Lstat(s.join(ordersDir, o.Name+tomlEnd)); err == nil {
			changed[o.Name] = info.ModTime()
		}
	}
	slices.SortStableFunc(open, func(a, b Described[*profiles.Order]) int { return changed[b.Name].Compare(changed[a.Name]) })
	open = open[:most]
	slices.SortFunc(open, func(a, b Described[*profiles.Order]) int { return strings.Compare(a.Name, b.Name) })
	return open, met, older, nil
}

// byOrder are certificates by the order that they name.
func (all Certificates) byOrder() map[string]Certificates {
	of := map[string]Certificates{}
	for _, c := range all {
		of[c.Order] = append(of[c.Order], c)
	}
	return of
}

// orderLines tells of every order that stands in the shop, and of those that only
// certificates name.
func (s *Shop) orderLines(issued Certificates) ([]OrderLine, error) {
	names, err := s.Orders()
	if err != nil {
		return nil, err
	}
	var all []OrderLine
	first := map[string]string{} // name of the first order of an id
	for o := range s.ReadOrders(names) {
		l := OrderLine{Order: o.Name}
		if o.Err != nil {
			l.Problem = o.Err.Error()
		} else {
			l.Order, l.Customer = o.What.ID, o.What.Customer
			if other, ok := first[l.Order]; ok {
				l.Twin = twinOf(other, l.Order)
			} else {
				first[l.Order] = o.Name
			}
		}
		all = append(all, l)
	}
	known := map[string]bool{}
	for _, l := range all {
		known[l.Order] = true
	}
	for _, c := range issued {
		if !known[c.Order] {
			known[c.Order] = true
			all = append(all, OrderLine{Order: c.Order, Customer: c.Names.Customer})
		}
	}
	of := issued.byOrder()
	for i := range all {
		all[i].judge(of[all[i].Order])
	}
	return all, nil
}

// judge looks among an order's certificates for the pickup that met it: the newest one of a
// pickup counts.
func (l *OrderLine) judge(issued Certificates) {
	newest := map[string]*Certificate{}
	for _, c := range issued {
		if newest[c.Pickup] == nil || newest[c.Pickup].Certificate < c.Certificate {
			newest[c.Pickup] = c
		}
	}
	l.Tried = len(newest)
	for _, c := range newest {
		if c.Verdict.Verdict == verdict.Conforms && c.Certificate > l.Certificate {
			l.Pickup, l.Certificate = c.Pickup, c.Certificate
		}
	}
}
