package page

import (
	"net/http"

	"evenpole/fit/verdict"
)

// check shows how a pickup stands against an order by the record as it is, also while a
// capture adds to it. No certificate is issued: 'evenpole check' does so.
func (s *Server) check(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	name, pickup := q.Get("order"), q.Get("pickup")
	o, err := s.shop.Order(name)
	if err != nil {
		return err
	}
	if err := s.work.take(r.Context()); err != nil {
		return err
	}
	defer s.work.free()
	issued, err := s.shop.Certificates()
	if err != nil {
		return err
	}
	v, notices, err := s.shop.Check(r.Context(), o, pickup, verdict.Options{}, issued)
	if err != nil {
		return err
	}
	last := section{Heading: "Its certificate", Lines: append(notices, "This is how it stands now; no certificate was issued. Once the capture is complete, 'evenpole check' issues one.")}
	return s.show(w, r, "page.html", &view{Title: "Check of pickup " + pickup, Place: "/pickups", Sections: append(verdictSections(v), last)})
}

// checkLinks lead from a pickup to its check against each order.
func (s *Server) checkLinks(pickup string) ([]link, error) {
	names, err := s.shop.Orders()
	if err != nil {
		return nil, err
	}
	var out []link
	for _, name := range names {
		out = append(out, link{to("/check", "pickup", pickup) + "&" + to("", "order", name)[1:], "Check against " + name})
	}
	return out, nil
}
