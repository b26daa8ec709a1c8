package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"

	"evenpole/capture/record"
	"evenpole/capture/record/table"
	"evenpole/fit/batch"
	"evenpole/fit/level"
	"evenpole/profiles"
	"evenpole/report"
	"evenpole/shop"

	"github.com/spf13/cobra"
)

// batchOptions are the flags of "evenpole batch": shares, risks and
// confidence in percent, lengths in mm; 0 is not given.
type batchOptions struct {
	batch, reference           string
	fields                     string
	report, paper, sets        string
	setSize                    int
	min, max                   float64
	gap, rodDiameter, rodLong  float64
	acceptable, limiting       float64
	producerRisk, consumerRisk float64
	share, confidence, within  float64
}

func newBatchCmd(e *env) *cobra.Command {
	var o batchOptions
	cmd := &cobra.Command{
		Use:   "batch [--batch NAME] [--set-size N]",
		Short: "Characterise a magnet batch, and match magnets into sets",
		Long: `Says of a batch of loose magnets how strong it is and how much it varies, with the
probe's own scatter taken off; which magnets are not like the others, the wrong way
round, or (below a fifth of the usual field) demagnetised; whether strength drifts along the box; how it compares with the other
batches of the record; and, with limits, whether to accept it, to reject it, or to
measure more. With --set-size it sorts the magnets into matched sets.

A batch may be looked at after every magnet: the risks of accepting or rejecting
wrongly hold for all looks together, by Wald's sequential limits and, where those do
not tell, by the first magnets of a plan that always decides. What is said of a plan's
first magnets stays, unless many more magnets tell otherwise.

Limits, risks and rods may stand in the shop's ` + profiles.BatchesFile + ` instead of flags:

    reference = "gale"
    acceptable_percent = 1       # of the batch beyond the limits: as ordered
    limiting_percent = 10        # not as ordered
    [[batch]]
    name = "squall"
    min_mt = 250
    max_mt = 330
    probe_gap_mm = 0.5
    rod_diameter_in = 0.1875     # with these, readings at other gaps are converted
    rod_length_mm = 16.5

Strong magnets pinch fingers, fly at each other and splinter, and harm pacemakers and
other implants: wear eye protection, keep loose ones apart, and away from implants.

Exit status: 0 accept, or no limits given; 3 reject; 4 measure more.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runBatch(cmd.Context(), e, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.batch, "batch", "", "the batch's `name` (default: the newest in the record)")
	f.StringVar(&o.reference, "reference", "", "`name` of the batch to compare with (default: the shop's, or the first in the record)")
	f.StringVar(&o.fields, "fields", "", "field readings `file` (default: the shop's "+record.FieldsFile+")")
	f.StringVar(&o.report, "report", "", "write a page to print into this `file`, .html or .pdf")
	f.StringVar(&o.paper, "paper", "", "`size` of a PDF: a4 or letter (default: as shop.toml says, or a4)")
	f.IntVar(&o.setSize, "set-size", 0, "sort the magnets into sets of `N`")
	f.StringVar(&o.sets, "sets", "", "write which magnet is in which set into this CSV `file`")
	f.Float64Var(&o.min, "min-mt", 0, "least strength of a magnet, `mT`, from 5")
	f.Float64Var(&o.max, "max-mt", 0, "greatest strength of a magnet, `mT`, from 5")
	f.Var((*lengthFlag)(&o.gap), "probe-gap", "gap in `mm`, or as 0.02in, that strengths and limits are for (default: the batch's own)")
	f.Var((*lengthFlag)(&o.rodDiameter), "rod-diameter", "diameter of the rods, `mm`, or as 0.1875in")
	f.Var((*lengthFlag)(&o.rodLong), "rod-length", "length of the rods, `mm`, or as 0.65in")
	f.Float64Var(&o.acceptable, "acceptable", 0, "`percent` beyond the limits of a batch as ordered (default 1)")
	f.Float64Var(&o.limiting, "limiting", 0, "`percent` beyond the limits of one that is not (default 10)")
	f.Float64Var(&o.producerRisk, "producer-risk", 0, "chance in `percent` to reject what is as ordered (default 5)")
	f.Float64Var(&o.consumerRisk, "consumer-risk", 0, "chance in `percent` to accept what is not (default 10)")
	f.Float64Var(&o.share, "share", 0, "`percent` of the batch that the tolerance interval holds (default 95)")
	f.Float64Var(&o.confidence, "confidence", 0, "confidence of all intervals, `percent` (default 95)")
	f.Float64Var(&o.within, "within", 0, "`percent` to which the mean is wanted (default 1)")
	e.writes(cmd)
	return cmd
}

// batchDocument is what --json prints.
type batchDocument struct {
	*batch.Report
	Sets *batch.Sets `json:"sets"` // null without --set-size
}

var batchJSON = newDocument[batchDocument]()

func runBatch(ctx context.Context, e *env, o batchOptions) error {
	if o.sets != "" && o.setSize == 0 {
		return badInput("--sets wants --set-size: how many magnets make a set")
	}
	if _, err := paperOf(e, o.paper); err != nil {
		return err
	}
	if err := pageName("report", o.report); err != nil {
		return err
	}
	s, err := e.shopHere()
	if err != nil {
		return err
	}
	loose, err := late(ctx, e, func(ctx context.Context) (*batch.Record, error) { return s.FieldRecord(ctx, o.fields) })
	if err != nil {
		return err
	}
	r, err := s.Characterise(loose, o.wanted())
	if err != nil {
		return err
	}
	doc := batchDocument{Report: r}
	if o.setSize != 0 {
		doc.Sets, err = shop.Match(ctx, r, o.setSize)
		switch tooFew := o.setSize > 1 && o.setSize <= r.Count; {
		case err != nil && tooFew && o.sets == "": // the batch is judged all the same
			r.Warnings = append(r.Warnings, "no sets: "+err.Error())
		case err != nil:
			return err
		}
	}
	_, _ = late(ctx, e, func(ctx context.Context) (any, error) { s.AddLoudness(ctx, r); return nil, nil })
	if err := o.write(e, doc); err != nil {
		return err
	}
	if e.json {
		if err := batchJSON.write(e, doc); err != nil {
			return err
		}
	} else {
		printBatch(e, doc)
		o.printWritten(e)
	}
	return batchExit(r.Decision)
}

// batchExit is the exit status for a decision; nil is none.
func batchExit(d *batch.Decision) error {
	switch {
	case d == nil:
	case d.Answer == batch.Reject:
		return exit{exitOutOfTolerance}
	case d.Answer == batch.MeasureMore:
		return exit{exitCannotTell}
	}
	return nil
}

// wanted is what the flags ask for.
func (o *batchOptions) wanted() shop.Wanted {
	return shop.Wanted{
		Batch: o.batch,
		Options: batch.Options{
			Reference: o.reference, Gap: o.gap,
			Limits: batch.Limits{Min: limit(o.min), Max: limit(o.max)},
			Risks: batch.Risks{
				Acceptable: o.acceptable / 100, Limiting: o.limiting / 100, Producer: o.producerRisk / 100, Consumer: o.consumerRisk / 100,
			},
			Share: o.share / 100, Confidence: o.confidence / 100, Within: o.within / 100,
		},
		RodDiameter: o.rodDiameter, RodLength: o.rodLong,
	}
}

// limit is a limit that 0 leaves out.
func limit(x float64) *float64 {
	if x == 0 {
		return nil
	}
	return &x
}

// write writes the files that were asked for.
func (o *batchOptions) write(e *env, doc batchDocument) error {
	if o.report != "" {
		err := e.writeFile(o.report, func(f io.Writer) error {
			page := report.BatchPage{Report: doc.Report, Sets: doc.Sets, Version: version(), Units: e.units}
			if !report.IsPDF(o.report) {
				return report.WriteBatch(f, page)
			}
			paper, err := paperOf(e, o.paper)
			if err != nil {
				return err
			}
			return report.WriteBatchPDF(f, page, paper)
		})
		if err != nil {
			return err
		}
	}
	if o.sets == "" {
		return nil
	}
	return e.writeFile(o.sets, func(f io.Writer) error { return writeSets(f, doc) })
}

func (o *batchOptions) printWritten(e *env) {
	for _, path := range []string{o.report, o.sets} {
		if path != "" {
			e.print("written to %s", path)
		}
	}
}

// writeSets writes a row a magnet: its set, or why it has none.
func writeSets(f io.Writer, doc batchDocument) error {
	strength := map[string]string{}
	for i := range doc.Magnets {
		m := &doc.Magnets[i]
		strength[m.Name] = strconv.FormatFloat(m.Strength(), 'f', 2, 64)
	}
	rows := [][]string{{"set", "magnet", "strength_mt", "note"}}
	for _, s := range doc.Sets.Sets {
		for _, name := range s.Magnets {
			rows = append(rows, []string{strconv.Itoa(s.Number), name, strength[name], ""})
		}
	}
	for _, name := range doc.Sets.Left {
		rows = append(rows, []string{"", name, strength[name], "left over"})
	}
	for _, name := range doc.Sets.Unfit {
		rows = append(rows, []string{"", name, strength[name], "beyond the limits or the wrong way round"})
	}
	return table.WriteLines(f, false, rows...)
}

func printBatch(e *env, doc batchDocument) {
	r := doc.Report
	e.print("batch %s: %s, %s%s", r.Batch, profiles.Count(r.Count, "magnet"), profiles.Count(r.Takes, "take"), atGap(r.Gap))
	printDecision(e, r)
	e.print("")
	printStrength(e, r)
	printOdd(e, r)
	printOthers(e, r)
	printNoLimits(e, r)
	printSets(e, doc.Sets)
	for _, n := range r.Notes {
		e.note("note: %s", n)
	}
	e.warn(r.Warnings)
	for _, c := range batch.Cautions() {
		e.note("caution: %s", c)
	}
}

func atGap(gap level.Figure) string {
	if !gap.Known() {
		return ""
	}
	return profiles.Sprintf(", at %.2f mm from the pole face", float64(gap))
}

func printStrength(e *env, r *batch.Report) {
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	row := func(name, format string, args ...any) {
		fmt.Fprintf(tw, "%s\t%s\n", name, e.units.Text(profiles.Sprintf(format, args...)))
	}
	row("mean strength", "%.1f mT%s", r.Mean, span(r.MeanWithin, "mT"))
	if s := r.Scatter; s != nil {
		row("from magnet to magnet", "%.1f mT (%.1f %%)%s", s.Magnets, s.Percent, span(s.Interval, "mT"))
		if s.Placing.Known() {
			row("from placing to placing", "%.1f mT", float64(s.Placing))
		}
		if s.Take.Known() {
			row("from take to take", "%.1f mT", float64(s.Take))
		}
	}
	if t := r.Tolerance; t != nil {
		row(profiles.Sprintf("%.3g %% of the batch", 100*t.Share), "%.1f to %.1f mT (k = %.3f)", t.Low, t.High, t.K)
	}
	if r.ForMean != nil && *r.ForMean > 0 {
		row(fmt.Sprintf("mean to %.3g %%", r.Within), "%s", profiles.Count(*r.ForMean, "more magnet"))
	}
	tw.Flush()
}

// span writes an interval; nothing when there is none.
func span(i *batch.Interval, unit string) string {
	if i == nil {
		return ""
	}
	return fmt.Sprintf(", between %.1f and %.1f %s", i.Low, i.High, unit)
}

// printOdd names what is not like the rest.
func printOdd(e *env, r *batch.Report) {
	e.print("")
	if r.Test != "" {
		e.print("outliers by %s: %s", r.Test, namesOr(outlierNames(r), "none"))
	}
	if r.Reversed != nil {
		e.print("the other pole up: %s", namesOr(r.Reversed, "none"))
	}
	if t := r.Trend; t != nil {
		word := "no drift"
		if t.Drifts {
			word = "drift"
		}
		e.print("along the box: %s (%+.1f mT from first to last, p = %.2g)", word, t.Across, t.P)
	}
}

func outlierNames(r *batch.Report) []string {
	var names []string
	for _, o := range r.Outliers {
		names = append(names, profiles.Sprintf("%s (%.1f mT)", o.Magnet, o.Field))
	}
	return names
}

func printOthers(e *env, r *batch.Report) {
	if len(r.Others) == 0 {
		return
	}
	e.print("")
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(tw, "beside batch\tmagnets\tmean mT\t"+inGauss(e, "mean G\t")+"this one stronger by %\tbetween\t")
	for _, c := range r.Others {
		name := c.Batch
		if c.Reference {
			name += " (reference)"
		}
		between := "cannot be told"
		if c.Within != nil {
			between = profiles.Sprintf("%+.1f and %+.1f", c.Within.Low, c.Within.High)
		}
		profiles.Fprintf(tw, "%s\t%d\t%.1f\t%s%+.1f\t%s\t\n", name, c.Count, c.Mean, inGauss(e, profiles.Gauss(c.Mean)+"\t"), c.Percent, between)
	}
	tw.Flush()
	if l := r.Loudness; l != nil {
		e.print("test pickups with this batch beside those with %s: %+.1f dB, between %+.1f and %+.1f (%d and %s)",
			r.Reference, l.DB, l.Within.Low, l.Within.High, l.Pickups, profiles.Count(l.Reference, "pickup"))
	}
}

// inGauss is cells that stand in a table where fields are told in gauss as well.
func inGauss(e *env, cells string) string {
	if !e.units.InGauss() {
		return ""
	}
	return cells
}

// printNoLimits says what a decision lacks.
func printNoLimits(e *env, r *batch.Report) {
	if r.Decision == nil {
		e.print("")
		e.print("no limits given: nothing to accept or reject against (--min-mt, --max-mt, or %s)", profiles.BatchesFile)
	}
}

func printDecision(e *env, r *batch.Report) {
	d := r.Decision
	if d == nil {
		return
	}
	e.print("decision: %s", d.Answer)
	e.print("  %s", d.Sentence())
	if len(d.Breaching) > 0 {
		e.print("  beyond the limits: %s", strings.Join(d.Breaching, ", "))
	}
	if d.Answer == batch.MeasureMore {
		e.print("  measure %s at most; %d more would do, should mean and scatter stay what they are", profiles.Count(d.AtMost, "more magnet"), d.Likely)
	}
}

func printSets(e *env, s *batch.Sets) {
	if s == nil {
		return
	}
	e.print("")
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(tw, "set\tmean mT\tspread mT\t"+inGauss(e, "mean G\tspread G\t")+"magnets\t")
	for _, set := range s.Sets {
		profiles.Fprintf(tw, "%d\t%.1f\t%.1f\t%s%s\t\n", set.Number, set.Mean, set.Spread, inGauss(e, profiles.Gauss(set.Mean)+"\t"+profiles.Gauss(set.Spread)+"\t"), strings.Join(set.Magnets, " "))
	}
	tw.Flush()
	e.print("left over: %s", namesOr(s.Left, "none"))
	if len(s.Unfit) > 0 {
		e.print("kept out, beyond the limits or the wrong way round: %s", strings.Join(s.Unfit, ", "))
	}
	if s.TrueSD.Known() {
		e.print("true strengths within sets scatter by about %.1f mT, as each is measured with an error of its own", float64(s.TrueSD))
	}
	e.print("within sets %.1f mT, unmatched %.1f mT: no other sorting into sets of %d has less within", s.SD, s.Free, s.Size)
}
