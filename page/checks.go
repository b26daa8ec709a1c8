package page

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"evenpole/fit/verdict"
	"evenpole/profiles"
	"evenpole/shop"
)

// check shows how a pickup stands against an order by the record as it is, also while a
// capture adds to it, and leads to its certificate.
func (s *Server) check(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	name, pickup := q.Get("order"), q.Get("pickup")
	issued, err := s.shop.Certificates()
	if err != nil {
		return err
	}
	o, v, notices, err := s.judge(r, name, pickup, verdict.Options{}, issued)
	if err != nil {
		return err
	}
	view := &view{Title: "Check of pickup " + pickup, Place: "/pickups", Sections: append(verdictSections(v, o.Units), cautions(o), s.issuing(name, pickup, o.Units.Texts(notices)))}
	if s.bench.capturing(pickup) {
		view.Script = "follow.js"
	}
	return s.show(w, r, "page.html", view)
}

// judge checks a pickup against an order, as 'check' does.
func (s *Server) judge(r *http.Request, name, pickup string, opt verdict.Options, issued shop.Certificates) (o *profiles.Order, v *verdict.Verdict, notices []string, err error) {
	if o, err = s.shop.Order(name); err != nil {
		return
	}
	if err = s.work.take(r.Context()); err != nil {
		return
	}
	defer s.work.free()
	v, notices, err = s.shop.Check(r.Context(), o, pickup, opt, issued)
	return
}

// issuing is the form that issues a certificate, or why that has to wait.
func (s *Server) issuing(order, pickup string, notices []string) section {
	out := section{Heading: "Its certificate", Lines: notices}
	if s.bench.capturing(pickup) {
		out.Lines = append(out.Lines, "This is how it stands now. Once its capture is complete, the certificate can be issued here.")
		return out
	}
	out.Lines = append(out.Lines, "This is how it stands now. A certificate states it for good: it is numbered and never replaced, and one that says the same is not issued again.")
	out.Act = &act{Address: "/check/issue", Given: []hidden{{"order", order}, {"pickup", pickup}}, Text: "Issue the certificate", Fields: []field{
		{Name: "ohm", Label: "The coil's resistance, ohm, where it was measured"}, {Name: "celsius", Label: "The coil's temperature then, °C", Value: "20"},
	}}
	return out
}

// issue issues the certificate and the workshop's sheet of a pickup, as 'check' does.
func (s *Server) issue(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	f := r.PostForm
	pickup := f.Get("pickup")
	if s.bench.capturing(pickup) {
		return &refused{"pickup " + pickup + " is being captured: its certificate can be issued once that is complete, or paused"}
	}
	coil, err := coilOf(f.Get("ohm"), f.Get("celsius"))
	if err != nil {
		return err
	}
	issued, err := s.shop.Certificates()
	if err != nil {
		return err
	}
	o, v, _, err := s.judge(r, f.Get("order"), pickup, verdict.Options{Resistance: coil}, issued)
	if err != nil {
		return err
	}
	paper, err := s.shop.Paper()
	if err != nil {
		return err
	}
	if _, _, err := s.shop.IssuePapers(v, o, issued, shop.Paperwork{Units: o.Units, Paper: paper, Version: s.version}); err != nil {
		return err
	}
	http.Redirect(w, r, to("/certificate", "number", strconv.Itoa(v.Certificate)), http.StatusSeeOther)
	return nil
}

// coilOf is a coil's resistance as it was typed; nil where there is none.
func coilOf(ohm, celsius string) (*verdict.Measured, error) {
	if strings.TrimSpace(ohm) == "" {
		return nil, nil
	}
	m := &verdict.Measured{}
	var err error
	if m.Ohm, err = strconv.ParseFloat(strings.TrimSpace(ohm), 64); err != nil {
		return nil, &refused{fmt.Sprintf("resistance: expected a number of ohm, got %.40q", ohm)}
	}
	if m.Celsius, err = strconv.ParseFloat(strings.TrimSpace(celsius), 64); err != nil {
		return nil, &refused{fmt.Sprintf("temperature: expected degrees Celsius, got %.40q", celsius)}
	}
	if err := m.Valid(); err != nil {
		return nil, &refused{err.Error()}
	}
	return m, nil
}
