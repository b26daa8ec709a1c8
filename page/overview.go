package page

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"evenpole/shop"
)

// overview shows the shop at a glance.
func (s *Server) overview(w http.ResponseWriter, r *http.Request) error {
	orders, err := s.shop.Orders()
	if err != nil {
		return err
	}
	current, err := s.shop.CurrentModel()
	if errors.Is(err, shop.ErrNoModel) {
		current, err = "none yet: plans come from the handbook", nil
	}
	if err != nil {
		return err
	}
	issued, err := s.shop.Certificates()
	if err != nil {
		return err
	}
	ordered := &grid{ID: "orders", Caption: "Orders", Heads: textHeads("order")}
	for _, name := range orders {
		ordered.add(to("/order", "name", name), name)
	}
	return s.show(w, r, "page.html", &view{Title: "The shop", Place: "/", Sections: []section{
		{Facts: []fact{
			{"orders", strconv.Itoa(len(orders))}, {"certificates issued", strconv.Itoa(len(issued))},
			{"current model", strings.TrimSuffix(current, ".json")}, {"program", "evenpole " + s.version},
		}},
		{Heading: "Orders", Table: ordered},
		{Heading: "Certificates, the newest first", Table: certificateGrid(issued)},
	}})
}

// find leads from the last line of a certificate, also in its QR code, to what it is of.
func (s *Server) find(w http.ResponseWriter, r *http.Request) error {
	line := r.URL.Query().Get("line")
	u, err := url.Parse(line)
	if err != nil || u.Scheme != "evenpole" || u.Opaque != "check" {
		return &missing{"this is not the line of a certificate: %.80q", line}
	}
	q := u.Query()
	if of := q.Get("shop"); of != s.name {
		return &missing{"this certificate is of another shop's folder, %.60q", of}
	}
	at := to("/pickup", "id", q.Get("pickup"))
	if n := q.Get("certificate"); n != "" {
		at = to("/certificate", "number", n)
	}
	http.Redirect(w, r, at, http.StatusSeeOther)
	return nil
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
