package page

import (
	"errors"
	"io"
	"net/http"
	"slices"
	"strconv"

	"evenpole/fit/verdict"
	"evenpole/profiles"
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
	list, err := s.list.get(s.shop.Stamp(), func() ([]shop.Measured, error) {
		if err := s.work.take(r.Context()); err != nil {
			return nil, err
		}
		defer s.work.free()
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
	return sendSVG(w, func(to io.Writer) error {
		return report.Explain(to, report.Explained("Pickup "+id, x, profiles.Millimetres))
	})
}

// certificateGrid lists certificates, the newest first.
func certificateGrid(issued shop.Certificates) *grid {
	g := &grid{ID: "certificates", Caption: "Certificates", Heads: append(textHeads("certificate", "pickup", "order", "verdict", "measured", "in place of"), figureHeads("spread dB", "tolerance dB")...)}
	newest := slices.Clone(issued)
	slices.SortFunc(newest, func(a, b *shop.Certificate) int { return b.Certificate - a.Certificate })
	for _, v := range newest {
		before := unknown
		if v.Supersedes != 0 {
			before = strconv.Itoa(v.Supersedes)
		}
		n := strconv.Itoa(v.Certificate)
		g.add(to("/certificate", "number", n), n, v.Pickup, v.Order, string(v.Verdict.Verdict), minute(v.Time), before, plain(v.Spread), hundredths(v.Tolerance))
	}
	return g
}

// certificate shows what a certificate says.
func (s *Server) certificate(w http.ResponseWriter, r *http.Request) error {
	v, err := s.certificateOf(r)
	if err != nil {
		return err
	}
	n := strconv.Itoa(v.Certificate)
	page := to("/certificate/page", "number", n) + "&as="
	return s.show(w, r, "page.html", &view{Title: "Certificate " + n, Place: "/pickups", Sections: append(verdictSections(v), section{
		Links: []link{{page + "html", "The certificate to print"}, {page + "pdf", "The certificate as a PDF"}, {to("/pickup", "id", v.Pickup), "Pickup " + v.Pickup}},
	})})
}

// verdictSections show a verdict.
func verdictSections(v *verdict.Verdict) []section {
	g := &grid{ID: "strings", Caption: "Strings", Heads: append(perString("level mV", "balance dB", "target dB", "deviation dB", "± U dB", "takes"), textHeads("verdict", "remedy")...)}
	for i := range v.Strings {
		s := &v.Strings[i]
		g.add("", strconv.Itoa(s.Number), s.Note, plain(s.Level), plus(s.Balance), signed(s.Target), plus(s.Deviation), plain(s.Expanded), strconv.Itoa(s.Takes), string(s.Verdict), orDash(s.Remedy))
	}
	out := []section{{State: string(v.Verdict), Facts: []fact{
		{"pickup", v.Pickup}, {"order", v.Order}, {"session", orDash(v.Session)}, {"measured", minute(v.Time)},
		{"spread", plain(v.Spread) + " dB"}, {"tolerance", "±" + hundredths(v.Tolerance) + " dB"}, {"looks", strconv.Itoa(v.Looks)},
	}, Lines: append(nonEmpty(v.Remedy), v.Warnings...)}, {Heading: "Strings against the tolerance", Table: g}}
	if d := v.Diagnosis; d != nil {
		out = append(out, section{Heading: "Beside what is expected of it", Facts: []fact{{"by", orDash(v.Model)}}, Lines: d.Say()})
	}
	return append(out, section{Heading: "How the figures were made", Lines: v.Notes})
}

func nonEmpty(text string) []string {
	if text == "" {
		return nil
	}
	return []string{text}
}

func (s *Server) certificateOf(r *http.Request) (*verdict.Verdict, error) {
	n, err := numberOf(r, "certificate")
	if err != nil {
		return nil, err
	}
	issued, err := s.shop.Certificates()
	if err != nil {
		return nil, err
	}
	v, err := issued.Certificate(n)
	if errors.Is(err, shop.ErrUnknownCertificate) {
		return nil, &missing{"there is no certificate %s", strconv.Itoa(n)}
	}
	return v, err
}

// certificatePage sends a certificate as it was issued.
func (s *Server) certificatePage(w http.ResponseWriter, r *http.Request) error {
	v, err := s.certificateOf(r)
	if err != nil {
		return err
	}
	as := r.URL.Query().Get("as")
	text, err := s.shop.CertificatePage(v, as)
	if err != nil {
		return err
	}
	if as == "pdf" {
		return sendPDF(w, "certificate-"+strconv.Itoa(v.Certificate), func(to io.Writer) error {
			_, err := to.Write(text)
			return err
		})
	}
	return sendPaper(w, "text/html; charset=utf-8", text)
}
