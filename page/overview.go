package page

import (
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"evenpole/shop"
)

// mostShown is how many models stand on the page of the whole shop; their own has all.
const mostShown = 5

// overview shows the shop at a glance.
func (s *Server) overview(w http.ResponseWriter, r *http.Request) error {
	ordered, err := s.orderGrid()
	if err != nil {
		return err
	}
	list, issued, err := s.measured(r)
	if err != nil {
		return err
	}
	batches, err := s.batchGrid(r.Context())
	if err != nil {
		return err
	}
	models, err := s.modelGrid(mostShown)
	if err != nil {
		return err
	}
	atBench, err := s.jigAtAGlance(r.Context())
	if err != nil {
		return err
	}
	head, err := s.counts(len(ordered.Rows), len(list), len(issued))
	if err != nil {
		return err
	}
	return s.show(w, r, "page.html", &view{Title: "The shop", Place: "/", Sections: []section{
		head, {Heading: "Orders", Table: ordered, Links: []link{{"/order/write", "Write an order"}}}, {Heading: "Pickups", Table: pickupGrid(list, issued)},
		{Heading: "Certificates, the newest first", Table: certificateGrid(issued)}, {Heading: "Batches", Table: batches}, {Heading: "Models", Table: models}, atBench,
	}})
}

// counts says how much there is of what, and leads from a code to its certificate.
func (s *Server) counts(orders, pickups, certificates int) (section, error) {
	current, err := s.shop.CurrentModel()
	if errors.Is(err, shop.ErrNoModel) {
		current, err = "none yet: plans come from the handbook", nil
	}
	return section{Facts: []fact{
		{"orders", strconv.Itoa(orders)}, {"pickups measured", strconv.Itoa(pickups)}, {"certificates issued", strconv.Itoa(certificates)},
		{"current model", strings.TrimSuffix(current, ".json")}, {"program", "evenpole " + s.version},
	}, Ask: &act{Address: "/find", Text: "Find", Fields: []field{{Name: "line", Label: "Number of a certificate, or its QR code as a scanner types it", Text: true}}}}, err
}

// find leads from the QR code of a certificate or of a workshop's sheet to what it is of.
func (s *Server) find(w http.ResponseWriter, r *http.Request) error {
	number, pickup, err := s.shop.Lookup(r.URL.Query().Get("line"))
	if errors.Is(err, shop.ErrUnknownCode) {
		return &missing{"%s", err.Error()}
	}
	if err != nil {
		return err
	}
	at := to("/pickup", "id", pickup)
	if number != 0 {
		at = to("/certificate", "number", strconv.Itoa(number))
	}
	http.Redirect(w, r, at, http.StatusSeeOther)
	return nil
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
	first, last := rows[0], rows[len(rows)-1]
	return s.show(w, r, "page.html", &view{Title: "Session " + orDash(id), Place: "/pickups", Sections: []section{{Facts: []fact{
		{"pickup", orDash(first.Pickup)}, {"for", string(first.Purpose)}, {"jig", orDash(first.Jig)}, {"strings", orDash(first.StringSet)}, {"first row", minute(first.Time)}, {"last", minute(last.Time)},
	}, Links: []link{{to("/pickup", "id", first.Pickup), "Pickup " + orDash(first.Pickup)}}}, {Heading: "How its strings came out", Table: g}}})
}

// numberOf reads the number that names a thing in an address.
func numberOf(r *http.Request, what string) (int, error) {
	text := r.URL.Query().Get("number")
	n, err := strconv.Atoi(text)
	if err != nil {
		return 0, &missing{"there is no " + what + " %.40q", text}
	}
	return n, nil
}

// perString is columns with a string's name first.
func perString(others ...string) []head {
	return append(textHeads("string", "note"), figureHeads(others...)...)
}

// byString is the heads of a table with a column a string.
func byString(first string, n int) []head {
	heads := textHeads(first)
	for i := range n {
		heads = append(heads, head{fmt.Sprint(i + 1), true})
	}
	return heads
}
