package page

import "net/http"

// overview shows the shop at a glance.
func (s *Server) overview(w http.ResponseWriter, r *http.Request) error {
	return s.show(w, r, "page.html", &view{Title: "The shop", Place: "/", Sections: []section{{Facts: []fact{{"folder", s.name}, {"program", "evenpole " + s.version}}}}})
}
