package page

import (
	"context"
	"errors"
	"io"
	"net/http"
	"slices"
	"strconv"

	"evenpole/fit/batch"
	"evenpole/profiles"
	"evenpole/report"
	"evenpole/shop"
)

// loose is the record of loose magnets; nil where the shop has measured none.
func (s *Server) loose(ctx context.Context) (*batch.Record, error) {
	loose, err := s.shop.FieldRecord(ctx, "")
	if errors.Is(err, shop.ErrNoFields) {
		return nil, nil
	}
	return loose, err
}

// batches lists the batches of magnets: ordered, or measured loose.
func (s *Server) batches(w http.ResponseWriter, r *http.Request) error {
	g, err := s.batchGrid(r.Context())
	if err != nil {
		return err
	}
	return s.show(w, r, "page.html", &view{Title: "Batches", Place: "/batches", Sections: []section{{Table: g}}})
}

// batchGrid lists the batches of magnets.
func (s *Server) batchGrid(ctx context.Context) (*grid, error) {
	ordered, err := s.shop.Batches()
	if err != nil {
		return nil, err
	}
	loose, err := s.loose(ctx)
	if err != nil {
		return nil, err
	}
	u, err := s.shop.Units()
	if err != nil {
		return nil, err
	}
	g := &grid{ID: "batches", Caption: "Batches of magnets", Heads: slices.Concat(textHeads("batch", "measured loose"), fieldHeads(u, "least", "greatest"), figureHeads("probe gap "+u.Name()))}
	var measured []string
	if loose != nil {
		measured = loose.Batches()
	}
	names := slices.Clone(measured)
	for _, b := range ordered.List {
		if !slices.Contains(names, b.Name) {
			names = append(names, b.Name)
		}
	}
	for _, name := range names {
		b, _ := ordered.Batch(name)
		at, word := "", "no"
		if slices.Contains(measured, name) {
			at, word = to("/batch", "name", name), "yes"
		}
		g.add(at, slices.Concat([]string{name, word}, fieldCells(u, given, b.Min, b.Max), []string{gapOf(b.ProbeGap, u)})...)
	}
	return g, nil
}

// fieldHeads are heads of fields: in mT, and where people think so in gauss beside.
func fieldHeads(u profiles.Units, names ...string) (out []head) {
	for _, name := range names {
		out = append(out, figureHeads(name+" mT")...)
		if u.InGauss() {
			out = append(out, figureHeads(name+" G")...)
		}
	}
	return out
}

// fieldCells are the cells under such heads.
func fieldCells(u profiles.Units, write func(float64) string, mT ...float64) (out []string) {
	for _, field := range mT {
		text := write(field)
		out = append(out, text)
		switch {
		case !u.InGauss():
		case text == unknown:
			out = append(out, unknown)
		default:
			out = append(out, profiles.Gauss(field))
		}
	}
	return out
}

// given is a figure of which 0 is not given.
func given(v float64) string {
	if v == 0 {
		return unknown
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// gapOf is a gap in mm, in units; 0 is not given.
func gapOf(mm float64, u profiles.Units) string {
	if mm == 0 || u != profiles.Inches {
		return given(mm)
	}
	return u.Figure(mm)
}

// batchOf works out what is known of a batch, as 'batch' does.
func (s *Server) batchOf(r *http.Request) (*batch.Report, error) {
	if err := s.work.take(r.Context()); err != nil {
		return nil, err
	}
	defer s.work.free()
	name := r.URL.Query().Get("name")
	loose, err := s.loose(r.Context())
	if err != nil {
		return nil, err
	}
	if loose == nil || !slices.Contains(loose.Batches(), name) {
		return nil, &missing{"no loose magnets of a batch %.60q were measured", name}
	}
	b, err := s.shop.Characterise(loose, shop.Wanted{Batch: name})
	if err == nil {
		s.shop.AddLoudness(r.Context(), b)
	}
	return b, err
}

// batch shows a batch.
func (s *Server) batch(w http.ResponseWriter, r *http.Request) error {
	b, err := s.batchOf(r)
	if err != nil {
		return err
	}
	u, err := s.shop.Units()
	if err != nil {
		return err
	}
	g := &grid{ID: "magnets", Caption: "Magnets, in the order of their first reading", Heads: slices.Concat(textHeads("magnet"), fieldHeads(u, "field"), figureHeads("takes"), textHeads("outlier", "other pole up", "beyond the limits"))}
	for i := range b.Magnets {
		m := &b.Magnets[i]
		g.add("", slices.Concat([]string{m.Name}, fieldCells(u, hundredths, m.Field), []string{strconv.Itoa(m.Takes), yes(m.Outlier), yes(m.Reversed), orDash(u.Text(m.Breach))})...)
	}
	head := section{Facts: []fact{{"magnets", strconv.Itoa(b.Count)}, {"takes", strconv.Itoa(b.Takes)}, {"mean", u.Text(hundredths(b.Mean) + " mT")}, {"probe gap", u.Text(plain(b.Gap) + " mm")}, {"measured", minute(b.Measured)}},
		Lines: u.Texts(b.Warnings)}
	if sc := b.Scatter; sc != nil {
		head.Facts = append(head.Facts, fact{"scatter from magnet to magnet", hundredths(sc.Percent) + " %"})
	}
	if d := b.Decision; d != nil {
		head.State = string(d.Answer)
		head.Lines = append([]string{u.Text(d.Sentence())}, head.Lines...)
	}
	return s.show(w, r, "page.html", &view{Title: "Batch " + b.Batch, Place: "/batches", Sections: []section{
		head, {Heading: "Magnets", Table: g, Pictures: []picture{{to("/batch/picture", "name", b.Batch), "Strengths of the magnets in the order of measurement"}}},
		{Heading: "Cautions", Lines: batch.Cautions()}, {Heading: "How the figures were made", Lines: u.Texts(b.Notes)},
	}})
}

func yes(is bool) string {
	if is {
		return "yes"
	}
	return "no"
}

// batchPicture draws the strengths of a batch.
func (s *Server) batchPicture(w http.ResponseWriter, r *http.Request) error {
	b, err := s.batchOf(r)
	if err != nil {
		return err
	}
	u, err := s.shop.Units()
	if err != nil {
		return err
	}
	return sendSVG(w, func(to io.Writer) error { return report.Strip(to, report.BatchStrip(b, u)) })
}
