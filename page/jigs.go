package page

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"strconv"

	"evenpole/capture/record"
	"evenpole/fit/drift"
	"evenpole/fit/repeat"
	"evenpole/profiles"
	"evenpole/report"
)

// jig shows whether the jig can be trusted: its gain, its drift, how well it repeats.
func (s *Server) jig(w http.ResponseWriter, r *http.Request) error {
	list, _, err := s.measured(r)
	if err != nil {
		return err
	}
	gains, err := s.gainGrid()
	if err != nil {
		return err
	}
	references := &grid{ID: "references", Caption: "Pickups captured again and again", Heads: append(textHeads("pickup"), figureHeads("sessions of purpose repeat")...)}
	for _, m := range list {
		if n := m.Of(record.ForRepeat); n > 0 {
			references.add(to("/drift", "reference", m.Pickup), m.Pickup, strconv.Itoa(n))
		}
	}
	return s.show(w, r, "page.html", &view{Title: "The jig", Place: "/jig", Sections: []section{
		s.repeatability(r.Context()), {Heading: "Gain", Table: gains}, {Heading: "Drift", Table: references, Links: []link{{"/drift", "Drift of the pickups that were checked"}}},
	}})
}

// gainGrid lists calibrations.
func (s *Server) gainGrid() (*grid, error) {
	book, err := s.shop.Calibrations()
	if err != nil {
		return nil, err
	}
	g := &grid{ID: "gains", Caption: "Calibrations", Heads: append(textHeads("jig", "from", "due", "source"), figureHeads("gain dB", "± U dB")...)}
	for i := range book {
		c := &book[i]
		g.add("", c.Jig, day(c.From), c.Due.String(), orDash(c.Source), signed(c.GainDB), hundredths(c.Expanded))
	}
	return g, nil
}

// repeats is what 'repeat' says of the whole record.
func (s *Server) repeats(ctx context.Context) (*repeat.Study, error) {
	return s.study.get(ctx, s.work, s.shop.Stamp(), func() (*repeat.Study, error) {
		return s.shop.Repeat(ctx, repeat.Options{}, "")
	})
}

// repeatability is a study of the whole record, or why there is none.
func (s *Server) repeatability(ctx context.Context) section {
	out := section{Heading: "How well it repeats itself"}
	study, err := s.repeats(ctx)
	if err != nil {
		out.Lines = []string{err.Error()}
		return out
	}
	g := &grid{ID: "repeat", Caption: "What differs, standard deviations, dB", Heads: append(textHeads("source"), figureHeads("n", "each string", "interval", "mean level", "interval of that")...)}
	for i, c := range study.Balance {
		l := study.Level[i]
		g.add("", c.Source, strconv.Itoa(c.Levels), fmt.Sprintf("%.3f", c.SD), interval([2]float64{c.Low, c.High}), fmt.Sprintf("%.3f", l.SD), interval([2]float64{l.Low, l.High}))
	}
	out.Table = g
	out.Facts = []fact{{"sessions", strconv.Itoa(study.Runs)}, {"of", joined(study.Pickups)}, {"from", day(study.From)}, {"to", day(study.To)},
		{"U of a check of " + profiles.Count(study.Check.Takes, "take"), hundredths(study.Check.Expanded) + " dB"}}
	out.Lines = study.Warnings
	return out
}

// jigAtAGlance is the jig's repeatability, gain and drift in short.
func (s *Server) jigAtAGlance(ctx context.Context) (section, error) {
	out := section{Heading: "The jig", Links: []link{{"/jig", "The jig's repeatability, gain and drift"}}}
	gains, err := s.gainGrid()
	if err != nil {
		return out, err
	}
	out.Table = gains
	if study, err := s.repeats(ctx); err != nil {
		out.Lines = append(out.Lines, "Repeatability: "+err.Error())
	} else {
		for i, c := range study.Balance {
			out.Facts = append(out.Facts, fact{"each string, from " + c.Source + " to " + c.Source, fmt.Sprintf("%.3f dB (%d)", c.SD, study.Balance[i].Levels)})
		}
		out.Facts = append(out.Facts, fact{"U of a check of " + profiles.Count(study.Check.Takes, "take"), hundredths(study.Check.Expanded) + " dB"})
	}
	chart, err := s.drifts(ctx)
	if err != nil {
		out.Lines = append(out.Lines, "Drift: "+err.Error())
		return out, nil
	}
	out.Facts = append(out.Facts, fact{"drift of " + chart.Subject + ", " + chart.Of, string(chart.State)})
	return out, nil
}

// drifts is the control chart of the pickups that were checked.
func (s *Server) drifts(ctx context.Context) (*drift.Chart, error) {
	return s.shipped.get(ctx, s.work, s.shop.Stamp(), func() (*drift.Chart, error) {
		return s.shop.Drift(ctx, "", "", drift.Options{})
	})
}

// chart draws up the control charts that an address names, as 'drift' does.
func (s *Server) chart(r *http.Request) (*drift.Chart, error) {
	if err := s.work.take(r.Context()); err != nil {
		return nil, err
	}
	defer s.work.free()
	return s.shop.Drift(r.Context(), r.URL.Query().Get("reference"), "", drift.Options{})
}

// drift shows control charts.
func (s *Server) drift(w http.ResponseWriter, r *http.Request) error {
	c, err := s.chart(r)
	if err != nil {
		return err
	}
	points := &grid{ID: "points", Caption: "Points", Heads: append(textHeads("session", "time"), figureHeads("dB")...)}
	for _, p := range c.Points {
		points.add("", orDash(p.Label), minute(p.Time), hundredths(p.Value))
	}
	head := section{State: string(c.State), Facts: []fact{{"points", strconv.Itoa(len(c.Points))}}}
	if c.HasLimits() {
		head.Facts = append(head.Facts, fact{"centre", hundredths(c.Centre) + " dB"}, fact{"sigma", fmt.Sprintf("%.3f dB", c.Sigma)})
	}
	for i := range c.Signals {
		head.Lines = append(head.Lines, report.Signal(&c.Signals[i]))
	}
	head.Lines = append(head.Lines, c.Warnings...)
	if len(c.Panels) > 0 {
		head.Pictures = []picture{{to("/drift/picture", "reference", r.URL.Query().Get("reference")), "Control charts"}}
	}
	return s.show(w, r, "page.html", &view{Title: "Drift: " + c.Subject + ", " + c.Of, Place: "/jig", Sections: []section{head, {Table: points}}})
}

// driftPicture draws control charts.
func (s *Server) driftPicture(w http.ResponseWriter, r *http.Request) error {
	c, err := s.chart(r)
	if err != nil {
		return err
	}
	if len(c.Panels) == 0 {
		return &missing{"one point makes no chart%s", ""}
	}
	return sendSVG(w, func(to io.Writer) error { return report.Control(to, c) })
}
