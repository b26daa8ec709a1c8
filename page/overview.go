package page

import (
	"errors"
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
