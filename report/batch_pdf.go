package report

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"evenpole/fit/batch"
	"evenpole/profiles"
)

// WriteBatchPDF writes the page on a batch as a PDF: one page, or more with many
// sets. The same report gives the same bytes: its date is the measurement's.
func WriteBatchPDF(w io.Writer, p BatchPage, paper Paper) error {
	if p.Report == nil || len(p.Magnets) == 0 {
		return fmt.Errorf("batch page: expected a report of a magnet or more")
	}
	return onePage(w, paper, "Magnet batch "+p.Batch, p.Measured, p.fill)
}

// fill lays the page out.
func (p BatchPage) fill(s *leaf) {
	s.para("Magnet batch "+p.Batch, 14, true)
	s.rule(1.5)
	s.gap(1)
	s.pairs(2, [][2]string{{"Measured", p.When()}, {"Magnets, takes", fmt.Sprintf("%d, %d", p.Count, p.Takes)}, {"Probe gap", p.GapSaid()}, {"Reference batch", p.Reference}})
	s.gap(1)
	p.decision(s)
	s.gap(2)
	s.para("Strength of each magnet, in the order in which they were first measured", bodySize+0.5, true)
	plot := BatchStrip(p.Report)
	s.picture(chartWidth, 0.8, func(on canvas) float64 { plot.draw(on); return stripHeight })
	s.gap(1)
	s.para("Strength", bodySize+0.5, true)
	s.pairs(1, append(p.strength(), p.odd()...))
	p.others(s)
	p.sets(s)
	s.list("Warnings", p.Units.Texts(p.Warnings), bodySize)
	s.beside(0.6, 6, func() { s.list(notesHeading, p.Units.Texts(p.Notes), smallSize) }, func() { s.list(cautionsHeading, batch.Cautions(), smallSize) })
	s.gap(1)
	s.room(1.5 * s.lineHeight(smallSize))
	s.rule(0.5)
	s.gap(0.4)
	s.font(smallSize, false)
	s.write(s.left, s.base(smallSize), "start", "Strength: the size of the field at the probe.")
	s.write(s.left+s.width, s.base(smallSize), "end", "evenpole "+p.Version)
}

// decision is the box with the verdict.
func (p BatchPage) decision(s *leaf) {
	d := p.Decision
	if d == nil {
		s.frame(1.5, false, func() {
			s.para("NO LIMITS GIVEN", 12, true)
			s.para("Nothing to accept or reject against.", bodySize, false)
		})
		return
	}
	weight := 1.5
	if d.Answer == batch.Reject {
		weight = 3
	}
	s.frame(weight, d.Answer == batch.Accept, func() {
		s.para(strings.ToUpper(string(d.Answer)), 12, true)
		s.para(p.Units.Text(d.Sentence())+".", bodySize, false)
		if d.AtMost > 0 {
			s.para(fmt.Sprintf("Measure %d more magnets at most; %d more would do, should mean and scatter stay what they are.", d.AtMost, d.Likely), bodySize, false)
		}
		s.para(fmt.Sprintf("Sampling by variables (the method of ISO 3951-1): a batch with %s beyond the limits is rejected with a chance of %s at most, one with %s accepted with %s; %d magnets always decide (k = %.3f).",
			percent(d.Acceptable), percent(d.Producer), percent(d.Limiting), percent(d.Consumer), d.Plan, d.PlanK), smallSize, false)
	})
}

func percent(share float64) string { return figure("%.3g", 100*share) + " %" }

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
		out = append(out, [2]string{"along the box", fmt.Sprintf("%s: %s (Mann-Kendall test, p = %.2g)", word, p.Units.Text(figure("%+.1f", t.Across)+" mT"), t.P)})
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
		out = append(out, [2]string{"mean to " + figure("%.3g", p.Within) + " %", fmt.Sprintf("%d more magnets", *p.ForMean)})
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
func (p BatchPage) others(s *leaf) {
	if len(p.Others) > 0 {
		s.gap(1.5)
		s.para("Beside other batches", bodySize+0.5, true)
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
				within = fmt.Sprintf("%s to %s %%", figure("%+.1f", o.Within.Low), figure("%+.1f", o.Within.High))
			}
			row := []string{name, fmt.Sprint(o.Count), figure("%.1f", o.Mean), figure("%+.1f", o.Percent) + " %", within, figure("%+.2f", o.DB)}
			if p.Units.InGauss() {
				row = slices.Insert(row, 3, profiles.Gauss(o.Mean))
			}
			rows = append(rows, row)
		}
		head := []column{{head: "batch", words: true}, {head: "magnets"}, {head: "mean\nmT"}, {head: "this batch\nstronger by"}, {head: "between"}, {head: "field\ndB"}}
		if p.Units.InGauss() {
			head = slices.Insert(head, 3, column{head: "mean\nG"})
		}
		s.table(head, rows)
	}
	if l := p.Loudness; l != nil {
		text := fmt.Sprintf("Level of test pickups with this batch (%d) beside those with the reference batch (%d): %s dB", l.Pickups, l.Reference, figure("%+.2f", l.DB))
		if l.Within != nil {
			text += fmt.Sprintf(", between %s and %s dB", figure("%+.2f", l.Within.Low), figure("%+.2f", l.Within.High))
		}
		s.gap(0.5)
		s.para(text+".", bodySize, false)
	}
}

// sets is the table of matched sets, and what is not in one.
func (p BatchPage) sets(s *leaf) {
	m := p.Sets
	if m == nil {
		return
	}
	s.gap(1.5)
	s.para(fmt.Sprintf("Matched sets of %d, weakest first: %s within sets, %s unmatched", m.Size, p.MT(m.SD), p.MT(m.Free)), bodySize+0.5, true)
	for _, set := range m.Sets {
		s.hanging(fmt.Sprintf("%d", set.Number), fmt.Sprintf("  mean %s, spread %s: %s", p.MT(set.Mean), p.MT(set.Spread), listed(set.Magnets)), bodySize, false)
	}
	if m.TrueSD.Known() {
		s.para(fmt.Sprintf("Each magnet is measured with an error of its own: true strengths within sets scatter by about %s.", p.MT(float64(m.TrueSD))), bodySize, false)
	}
	if len(m.Left) > 0 {
		s.para("Left over: "+listed(m.Left)+".", bodySize, false)
	}
	if len(m.Unfit) > 0 {
		s.para("Kept out, beyond the limits or the wrong way round: "+listed(m.Unfit)+".", bodySize, false)
	}
}
