package report

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"evenpole/fit/batch"
	"evenpole/profiles"
	"evenpole/report/pdf"
)

// WriteBatchPDF writes the page on a batch as a PDF: one page, or more with many
// sets. The same report gives the same bytes: its date is the measurement's.
func WriteBatchPDF(w io.Writer, p BatchPage, paper Paper) error {
	if p.Report == nil || len(p.Magnets) == 0 {
		return fmt.Errorf("batch page: expected a report of a magnet or more")
	}
	return pdf.OnePage(w, paper.setup("Magnet batch "+p.Batch, p.Measured), p.fill)
}

// fill lays the page out.
func (p BatchPage) fill(s *pdf.Page) {
	s.Para("Magnet batch "+p.Batch, 14, true)
	s.Rule(1.5)
	s.Gap(1)
	s.Pairs(2, [][2]string{{"Measured", p.When()}, {"Magnets, takes", fmt.Sprintf("%d, %d", p.Count, p.Takes)}, {"Probe gap", p.GapSaid()}, {"Reference batch", p.Reference}})
	s.Gap(1)
	p.decision(s)
	s.Gap(2)
	s.Para("Strength of each magnet, in the order in which they were first measured", pdf.BodySize+0.5, true)
	plot := BatchStrip(p.Report, p.Units)
	picture(s, chartWidth, 0.8, func(on canvas) float64 { plot.draw(on); return stripHeight })
	s.Gap(1)
	s.Para("Strength", pdf.BodySize+0.5, true)
	s.Pairs(1, append(p.strength(), p.odd()...))
	p.others(s)
	p.sets(s)
	s.List("Warnings", p.Units.Texts(p.Warnings), pdf.BodySize)
	s.Beside(0.6, 6, func() { s.List(notesHeading, p.Units.Texts(p.Notes), pdf.SmallSize) }, func() { s.List(cautionsHeading, batch.Cautions(), pdf.SmallSize) })
	s.Gap(1)
	s.Room(1.5 * s.LineHeight(pdf.SmallSize))
	s.Rule(0.5)
	s.Gap(0.4)
	s.Font(pdf.SmallSize, false)
	s.Write(s.Left, s.Base(pdf.SmallSize), "start", "Strength: the size of the field at the probe.")
	s.Write(s.Left+s.Width, s.Base(pdf.SmallSize), "end", "evenpole "+p.Version)
}

// decision is the box with the verdict.
func (p BatchPage) decision(s *pdf.Page) {
	d := p.Decision
	if d == nil {
		s.Frame(1.5, false, func() {
			s.Para("NO LIMITS GIVEN", 12, true)
			s.Para("Nothing to accept or reject against.", pdf.BodySize, false)
		})
		return
	}
	weight := 1.5
	if d.Answer == batch.Reject {
		weight = 3
	}
	s.Frame(weight, d.Answer == batch.Accept, func() {
		s.Para(strings.ToUpper(string(d.Answer)), 12, true)
		s.Para(p.Units.Text(d.Sentence())+".", pdf.BodySize, false)
		if d.AtMost > 0 {
			s.Para(fmt.Sprintf("Measure %s at most; %d more would do, should mean and scatter stay what they are.", profiles.Count(d.AtMost, "more magnet"), d.Likely), pdf.BodySize, false)
		}
		s.Para(fmt.Sprintf("Sampling by variables (the method of ISO 3951-1): a batch with %s beyond the limits is rejected with a chance of %s at most, one with %s accepted with %s; %d magnets always decide (k = %.3f).",
			percent(d.Acceptable), percent(d.Producer), percent(d.Limiting), percent(d.Consumer), d.Plan, d.PlanK), pdf.SmallSize, false)
	})
}

// between is an interval of fields; a dash when it is not known.
func (p BatchPage) between(i *batch.Interval) string {
	if i == nil {
		return unknownFigure
	}
	return p.Span(i.Low, i.High)
}

// strength lists mean, scatter and what most of the batch lies within.
func (p BatchPage) strength() [][2]string {
	out := [][2]string{{"mean", fmt.Sprintf("%s, between %s", p.MT(p.Mean), p.between(p.MeanWithin))}}
	if s := p.Scatter; s != nil {
		out = append(out, [2]string{"from magnet to magnet", fmt.Sprintf("standard deviation %s, between %s", p.MT(s.Magnets), p.between(s.Interval))})
		if s.Placing.Known() {
			out = append(out, [2]string{"from placing to placing", p.MT(float64(s.Placing))})
		}
		if s.Take.Known() {
			out = append(out, [2]string{"from take to take", p.MT(float64(s.Take))})
		}
	}
	if t := p.Tolerance; t != nil {
		out = append(out, [2]string{percent(t.Share) + " of the batch", fmt.Sprintf("%s, with %s confidence (k = %.3f)", p.between(&t.Interval), percent(t.Confidence), t.K)})
	}
	if t := p.Trend; t != nil {
		word := "no drift"
		if t.Drifts {
			word = "drift"
		}
		out = append(out, [2]string{"along the box", profiles.Sprintf("%s: %s (Mann-Kendall test, p = %.2g)", word, p.Units.Text(figure("%+.1f", t.Across)+" mT"), t.P)})
	}
	return out
}

// odd lists the magnets that are not like the others.
func (p BatchPage) odd() [][2]string {
	var outliers []string
	for _, o := range p.Outliers {
		outliers = append(outliers, fmt.Sprintf("%s (%s)", o.Magnet, p.MT(o.Field)))
	}
	text := listed(outliers)
	if p.Test != "" {
		text += " (" + p.Test + ")"
	}
	out := [][2]string{{"outliers", text}, {"other pole up", listed(p.Reversed)}}
	if p.Decision != nil {
		out = append(out, [2]string{"beyond the limits", listed(p.Decision.Breaching)})
	}
	if p.ForMean != nil {
		out = append(out, [2]string{"mean to " + figure("%.3g", p.Within) + " %", profiles.Count(*p.ForMean, "more magnet")})
	}
	return out
}

func listed(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}

// others is the table of other batches, and how loud pickups are.
func (p BatchPage) others(s *pdf.Page) {
	if len(p.Others) > 0 {
		s.Gap(1.5)
		s.Para("Beside other batches", pdf.BodySize+0.5, true)
		var rows [][]string
		for _, o := range p.Others {
			name := o.Batch
			if o.Reference {
				name += " (reference)"
			}
			if o.Turned {
				name += ", other pole up"
			}
			within := "not known"
			if o.Within != nil {
				within = profiles.Sprintf("%s to %s %%", figure("%+.1f", o.Within.Low), figure("%+.1f", o.Within.High))
			}
			row := []string{name, fmt.Sprint(o.Count), figure("%.1f", o.Mean), figure("%+.1f", o.Percent) + " %", within, figure("%+.2f", o.DB)}
			if p.Units.InGauss() {
				row = slices.Insert(row, 3, profiles.Gauss(o.Mean))
			}
			rows = append(rows, row)
		}
		head := []pdf.Column{{Head: "batch", Words: true}, {Head: "magnets"}, {Head: "mean\nmT"}, {Head: "this batch\nstronger by"}, {Head: "between"}, {Head: "field\ndB"}}
		if p.Units.InGauss() {
			head = slices.Insert(head, 3, pdf.Column{Head: "mean\nG"})
		}
		s.Table(head, rows)
	}
	if l := p.Loudness; l != nil {
		text := profiles.Sprintf("Level of test pickups with this batch (%d) beside those with the reference batch (%d): %s dB", l.Pickups, l.Reference, figure("%+.2f", l.DB))
		if l.Within != nil {
			text += profiles.Sprintf(", between %s and %s dB", figure("%+.2f", l.Within.Low), figure("%+.2f", l.Within.High))
		}
		s.Gap(0.5)
		s.Para(text+".", pdf.BodySize, false)
	}
}

// sets is the table of matched sets, and what is not in one.
func (p BatchPage) sets(s *pdf.Page) {
	m := p.Sets
	if m == nil {
		return
	}
	s.Gap(1.5)
	s.Para(fmt.Sprintf("Matched sets of %d, weakest first: %s within sets, %s unmatched", m.Size, p.MT(m.SD), p.MT(m.Free)), pdf.BodySize+0.5, true)
	for _, set := range m.Sets {
		s.Hanging(fmt.Sprintf("%d", set.Number), fmt.Sprintf("  mean %s, spread %s: %s", p.MT(set.Mean), p.MT(set.Spread), listed(set.Magnets)), pdf.BodySize, false)
	}
	if m.TrueSD.Known() {
		s.Para(fmt.Sprintf("Each magnet is measured with an error of its own: true strengths within sets scatter by about %s.", p.MT(float64(m.TrueSD))), pdf.BodySize, false)
	}
	if len(m.Left) > 0 {
		s.Para("Left over: "+listed(m.Left)+".", pdf.BodySize, false)
	}
	if len(m.Unfit) > 0 {
		s.Para("Kept out, beyond the limits or the wrong way round: "+listed(m.Unfit)+".", pdf.BodySize, false)
	}
}
