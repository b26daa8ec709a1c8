package page

import (
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"

	"evenpole/report"
	"evenpole/shop"
)

// pickups lists what was measured, with its last verdict.
func (s *Server) pickups(w http.ResponseWriter, r *http.Request) error {
	list, issued, err := s.measured(r)
	if err != nil {
		return err
	}
	return s.show(w, r, "page.html", &view{Title: "Pickups", Place: "/pickups", Sections: []section{
		{Table: pickupGrid(list, issued)}, {Heading: "Certificates", Table: certificateGrid(issued)},
	}})
}

// pickupGrid lists pickups with their last verdicts.
func pickupGrid(list []shop.Measured, issued shop.Certificates) *grid {
	g := &grid{ID: "pickups", Caption: "Pickups measured, the newest first", Heads: append(textHeads("pickup", "batch", "last session", "for", "last measured", "verdict"), figureHeads("takes")...)}
	for i := range list {
		m := &list[i]
		last := m.Latest()
		verdict := unknown
		if v := issued.OfPickup(m.Pickup).Newest(); v != nil {
			verdict = string(v.Verdict)
		}
		g.add(to("/pickup", "id", m.Pickup), orDash(m.Pickup), orDash(m.Batch), orDash(last.ID), string(last.Purpose), minute(last.Last), verdict, strconv.Itoa(m.Takes()))
	}
	return g
}

// measured is the pickups of the record, and the certificates.
func (s *Server) measured(r *http.Request) ([]shop.Measured, shop.Certificates, error) {
	list, err := s.list.get(r.Context(), s.work, s.shop.Stamp(), func() ([]shop.Measured, error) {
		return s.shop.Pickups(r.Context())
	})
	if err != nil {
		return nil, nil, err
	}
	issued, err := s.shop.Certificates()
	return list, issued, err
}

// pickup shows a pickup: its verdict, certificates and sessions.
func (s *Server) pickup(w http.ResponseWriter, r *http.Request) error {
	id := r.URL.Query().Get("id")
	list, issued, err := s.measured(r)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(list, func(m shop.Measured) bool { return m.Pickup == id })
	if i < 0 {
		return &missing{"the record has no pickup %.60q", id}
	}
	sessions := &grid{ID: "sessions", Caption: "Sessions", Heads: append(textHeads("session", "for", "jig", "strings", "first take", "last"), figureHeads("takes")...)}
	for _, x := range list[i].Sessions {
		sessions.add(to("/session", "id", x.ID), orDash(x.ID), string(x.Purpose), orDash(x.Jig), orDash(x.Set), minute(x.First), minute(x.Last), strconv.Itoa(x.Takes))
	}
	own := issued.OfPickup(id)
	head := section{Facts: []fact{{"batch", orDash(list[i].Batch)}}}
	if v := own.Newest(); v != nil {
		head.State = string(v.Verdict)
		head.Facts = append(head.Facts, fact{"judged for order", v.Order}, fact{"spread", plain(v.Spread) + " dB"})
		if since := list[i].Since(v); since != "" {
			head.Lines = append(head.Lines, fmt.Sprintf("This is what certificate %d says; %s.", v.Certificate, since))
		}
	}
	if head.Links, err = s.checkLinks(id); err != nil {
		return err
	}
	return s.show(w, r, "page.html", &view{Title: "Pickup " + id, Place: "/pickups", Sections: []section{
		head, {Heading: "Certificates", Table: certificateGrid(own)}, {Heading: "Sessions", Table: sessions}, s.why(r, id),
	}})
}

// why says why each string of a measured pickup is as loud as it is, or why that
// cannot be said.
func (s *Server) why(r *http.Request, id string) section {
	out := section{Heading: "Why each string is as loud as measured"}
	if err := s.work.take(r.Context()); err != nil {
		out.Lines = []string{err.Error()}
		return out
	}
	defer s.work.free()
	x, err := s.shop.ExplainPickup(r.Context(), id)
	if err != nil {
		out.Lines = []string{err.Error()}
		return out
	}
	out.Table = causeGrid(x)
	out.Pictures = []picture{{to("/pickup/causes", "id", id), "What each cause adds to each string, dB"}}
	return out
}

// pickupCauses draws why each string of a pickup is as loud as it is.
func (s *Server) pickupCauses(w http.ResponseWriter, r *http.Request) error {
	if err := s.work.take(r.Context()); err != nil {
		return err
	}
	defer s.work.free()
	id := r.URL.Query().Get("id")
	x, err := s.shop.ExplainPickup(r.Context(), id)
	if err != nil {
		return err
	}
	u, err := s.shop.Units()
	if err != nil {
		return err
	}
	return sendSVG(w, func(to io.Writer) error {
		return report.Explain(to, report.Explained("Pickup "+id, x, u))
	})
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

// session shows a session: how its strings came out.
func (s *Server) session(w http.ResponseWriter, r *http.Request) error {
	id := r.URL.Query().Get("id")
	if err := s.work.take(r.Context()); err != nil {
		return err
	}
	defer s.work.free()
	rows, err := s.shop.SessionRows(r.Context(), id)
	if err != nil {
		return err
	}
	if len(rows) == 0 {
		return &missing{"the record has no session %.60q", id}
	}
	levels, err := shop.Levels(rows)
	if err != nil {
		return err
	}
	g := &grid{ID: "levels", Caption: "Levels by string; ± is the 95 % interval of the mean, by scatter alone", Heads: append(textHeads("string"), figureHeads("takes", "level mV", "± dB", "balance dB", "scatter dB")...)}
	for _, l := range levels {
		g.add("", strconv.Itoa(l.String), strconv.Itoa(l.Takes), plain(l.Level), plain(l.Within), plus(l.Balance), plain(l.Scatter))
	}
	first, last := rows[0], rows[len(rows)-1] // where it was filed anew, the last row says how
	return s.show(w, r, "page.html", &view{Title: "Session " + orDash(id), Place: "/pickups", Sections: []section{{Facts: []fact{
		{"pickup", orDash(last.Pickup)}, {"for", string(last.Purpose)}, {"jig", orDash(last.Jig)}, {"strings", orDash(last.StringSet)}, {"first row", minute(first.Time)}, {"last", minute(last.Time)},
	}, Links: []link{{to("/pickup", "id", last.Pickup), "Pickup " + orDash(last.Pickup)}}}, {Heading: "How its strings came out", Table: g}}})
}
