package page

import (
	"cmp"
	"errors"
	"io"
	"net/http"
	"slices"
	"strconv"

	"evenpole/fit/verdict"
	"evenpole/profiles"
	"evenpole/shop"
)

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
	sections := append(verdictSections(&v.Verdict, cmp.Or(v.Names.Units, profiles.Millimetres)), s.certificatePages(&v.Verdict))
	return s.show(w, r, "page.html", &view{Title: "Certificate " + n, Place: "/pickups", Sections: sections})
}

// certificatePages leads to the pages of a certificate that there are.
func (s *Server) certificatePages(v *verdict.Verdict) section {
	page := to("/certificate/page", "number", strconv.Itoa(v.Certificate)) + "&as="
	out := section{Links: []link{{page + "html", "The certificate to print"}}}
	switch notice, err := s.shop.WithoutPDF(v); {
	case err != nil:
		out.Lines = []string{err.Error()}
	case notice != "":
		out.Lines = []string{notice}
	default:
		out.Links = append(out.Links, link{page + "pdf", "The certificate as a PDF"})
	}
	out.Links = append(out.Links, link{to("/pickup", "id", v.Pickup), "Pickup " + v.Pickup})
	return out
}

// verdictSections show a verdict, with lengths in units.
func verdictSections(v *verdict.Verdict, u profiles.Units) []section {
	g := &grid{ID: "strings", Caption: "Strings", Heads: append(perString("level mV", "balance dB", "target dB", "deviation dB", "± U dB", "takes"), textHeads("verdict", "remedy")...)}
	for i := range v.Strings {
		s := &v.Strings[i]
		g.add("", strconv.Itoa(s.Number), s.Note, plain(s.Level), plus(s.Balance), signed(s.Target), plus(s.Deviation), plain(s.Expanded), strconv.Itoa(s.Takes), string(s.Verdict), orDash(u.Text(s.Remedy)))
	}
	out := []section{{State: string(v.Verdict), Facts: []fact{
		{"pickup", v.Pickup}, {"order", v.Order}, {"session", orDash(v.Session)}, {"measured", minute(v.Time)},
		{"spread", plain(v.Spread) + " dB"}, {"tolerance", "±" + hundredths(v.Tolerance) + " dB"}, {"looks", strconv.Itoa(v.Looks)},
	}, Lines: u.Texts(append(nonEmpty(v.Remedy), v.Warnings...))}, {Heading: "Strings against the tolerance", Table: g}}
	if d := v.Diagnosis; d != nil {
		out = append(out, section{Heading: "Beside what is expected of it", Facts: []fact{{"by", orDash(v.Model)}}, Lines: u.Texts(d.Say())})
	}
	return append(out, section{Heading: "How the figures were made", Lines: u.Texts(v.Notes)})
}

func nonEmpty(text string) []string {
	if text == "" {
		return nil
	}
	return []string{text}
}

func (s *Server) certificateOf(r *http.Request) (*shop.Certificate, error) {
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
	if as == "pdf" {
		if notice, err := s.shop.WithoutPDF(&v.Verdict); err == nil && notice != "" {
			return &refused{notice}
		}
	}
	text, err := s.shop.CertificatePage(&v.Verdict, as)
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

// numberOf reads the number that names a thing in an address.
func numberOf(r *http.Request, what string) (int, error) {
	text := r.URL.Query().Get("number")
	n, err := strconv.Atoi(text)
	if err != nil {
		return 0, &missing{"there is no " + what + " %.40q", text}
	}
	return n, nil
}
