package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"evenpole/fit"
	"evenpole/fit/plan"
	"evenpole/profiles"
	"evenpole/report"
	"evenpole/shop"

	"github.com/spf13/cobra"
)

type planOptions struct {
	order    string
	model    string
	svg      string
	csv      string
	fullSize string
	whatIf   bool
	match    bool
}

func newPlanCmd(e *env) *cobra.Command {
	var o planOptions
	cmd := &cobra.Command{
		Use:   "plan ORDER",
		Short: "Plan pole heights for an order, beside flat tops and other staggers",
		Long: `Plans the pole heights that leave the worst string of a finished pickup as little off
its target as can be expected, within the order's limits and under every string set
that the order names, and judges them beside flat tops, poles on the strings' arc, and
the staggers that the order compares: the expected spread of a pickup built so, with
interval, and the chance that every string is within tolerance. Where poles stand as
they are, it plans the pickup's height and tilt. ORDER may be given as --order, too;
'evenpole help order' says what is in it.`,
		Args:        cobra.MaximumNArgs(1),
		Annotations: map[string]string{endsItself: ""},
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := o.named(args); err != nil {
				return err
			}
			return runPlan(cmd.Context(), e, o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.order, "order", "", "order `file`")
	f.StringVar(&o.model, "model", "", "model `file` (default: the shop's current model; the handbook where there is none)")
	svgFlag(cmd, &o.svg, "draw the poles, planned beside flat, into this `file`, .svg")
	f.StringVar(&o.csv, "csv", "", "write all staggers, string by string, into this `file` for a spreadsheet")
	f.StringVar(&o.fullSize, "full-size", "", "draw the poles at 1:1 with a height gauge to cut out into this `file`, .svg or .pdf")
	f.BoolVar(&o.whatIf, "what-if", false, "show how the balance moves with radius, pickup height, tilt, each pole and the string set")
	f.BoolVar(&o.match, "match-magnets", false, "choose magnets for the poles from the batch's loose ones in the shop's record")
	e.writes(cmd)
	return cmd
}

// named takes the order that is named as an argument, or by --order.
func (o *planOptions) named(args []string) error {
	switch {
	case len(args) == 0 && o.order == "":
		return withHint(badInput(`expected an order's file, as in "plan ORDER" (required flag "order" not set)`), "'evenpole order new FILE' writes one to fill in")
	case len(args) == 0:
		return nil
	case o.order != "" && o.order != args[0]:
		return badInput("expected one order, got %s and --order %s", args[0], o.order)
	}
	o.order = args[0]
	return nil
}

// planDocument is what --json prints.
type planDocument struct {
	*plan.Plan
	WhatIf []plan.Change `json:"what_if,omitempty"`
}

var planJSON = newDocument[planDocument]()

func runPlan(ctx context.Context, e *env, o planOptions) error {
	format := strings.TrimPrefix(strings.ToLower(filepath.Ext(o.fullSize)), ".")
	if o.fullSize != "" && format != "svg" && format != "pdf" {
		return badInput("--full-size: expected a file that ends in .svg or .pdf, got %q", o.fullSize)
	}
	s, err := e.shopHere()
	if err != nil {
		return err
	}
	order, err := e.readOrder(s, o.order)
	if err != nil {
		return err
	}
	model, err := s.Predictor(o.model)
	if err != nil {
		return err
	}
	doc, err := o.plan(ctx, e, s, order, model)
	if err != nil {
		return err
	}
	if err := o.write(e, order, doc.Plan, format); err != nil {
		return err
	}
	if e.json {
		return planJSON.write(e, doc)
	}
	printPlan(e, order, doc.Plan)
	if words := doc.Pair.Words(e.units); words != nil {
		e.print("")
		for _, line := range words {
			e.print("%s", line)
		}
	}
	printWhatIf(e, order, doc.WhatIf)
	for _, path := range []string{o.svg, o.fullSize, o.csv} {
		if path != "" {
			e.print("written to %s", path)
		}
	}
	return nil
}

// plan plans an order, and tells of its steps where they take long.
func (o *planOptions) plan(ctx context.Context, e *env, s *shop.Shop, order *profiles.Order, model fit.Predictor) (doc planDocument, err error) {
	step, done := e.tellLate()
	defer done()
	var stock []string
	if o.match {
		if stock, err = s.Stock(ctx, order.Batch); err != nil {
			return doc, err
		}
	}
	if doc.Plan, err = s.Plan(ctx, order, model, plan.Options{Stock: stock, Progress: step}); err != nil {
		return doc, err
	}
	if doc.Pair, err = s.PlanPair(ctx, order, model, plan.Options{Progress: step}, doc.Plan); err != nil {
		return doc, err
	}
	if o.match {
		doc.noteStock(stock, order)
	}
	if o.whatIf {
		doc.WhatIf, err = s.WhatIf(ctx, order, model, plan.Options{Progress: step}, doc.Plan)
	}
	return doc, err
}

// write writes the files that were asked for.
func (o *planOptions) write(e *env, order *profiles.Order, p *plan.Plan, format string) error {
	if o.svg != "" {
		if err := drawPoles(e, o.svg, order, p); err != nil {
			return err
		}
	}
	if o.fullSize != "" {
		if err := e.writeFile(o.fullSize, func(f io.Writer) error {
			return report.FullSize(f, e.planPoles(order, p), format)
		}); err != nil {
			return err
		}
	}
	if o.csv != "" {
		return e.writeFile(o.csv, func(f io.Writer) error { return report.WritePlanCSV(f, order, p) })
	}
	return nil
}

// noteStock says why no magnets were chosen, where that was asked for.
func (d *planDocument) noteStock(stock []string, o *profiles.Order) {
	switch {
	case o.Magnets != nil:
		d.Warnings = append(d.Warnings, "--match-magnets: the order names its magnets; none were chosen")
	case len(stock) < len(o.Strings):
		d.Warnings = append(d.Warnings, fmt.Sprintf("--match-magnets: batch %q has %d measured magnets, and %d are needed; none were chosen", o.Batch, len(stock), len(o.Strings)))
	case len(d.Poles) == 0 || d.Poles[0].Magnet == "":
		d.Warnings = append(d.Warnings, "--match-magnets: the model does not tell these magnets apart, or the poles stand as they are; none were chosen")
	}
}

// drawPoles draws the poles, planned beside flat.
func drawPoles(e *env, path string, order *profiles.Order, p *plan.Plan) error {
	return e.writeFile(path, func(f io.Writer) error { return report.Poles(f, e.planPoles(order, p)) })
}

// planPoles is the picture of a plan, in the units in which lengths are told.
func (e *env) planPoles(order *profiles.Order, p *plan.Plan) report.PolePicture {
	picture := report.PlanPoles(order, p)
	picture.Units = e.units
	return picture
}

func printPlan(e *env, o *profiles.Order, p *plan.Plan) {
	poles := o.PolesWords()
	if o.Under() == "" {
		poles += " poles"
	}
	e.print("order %s: %s over batch %s, from %s", p.Order, poles, o.Batch, p.Source)
	if m := p.Move; m != nil {
		what := "the poles stay as they are"
		if o.Poles == profiles.Blade {
			what = "the blade stays as it is"
		}
		e.print(what+"; string 1's end of the pickup %+.1f mm, the other end %+.1f mm:", m.RaiseFirst, m.RaiseLast)
		e.print("undersides of the strings %.2f and %.2f mm over the bobbin plane then", m.StringHeightFirst, m.StringHeightLast)
	}
	for _, line := range p.Coils.Words(o, e.units) {
		e.print("%s", line)
	}
	e.print("")
	printPoles(e, o, p)
	e.print("")
	printStaggers(e, p)
	e.print("")
	printBalance(e, o, p)
	e.print("")
	printCost(e, o, p)
	e.print("gaps are for strings at rest: %.2f mm at least, of which %.2f mm for the string's swing", o.RestGap(), o.StringSwing)
	for _, r := range p.Relaxed {
		limit := strings.TrimSuffix(r.Limit, "mm") + e.units.Name()
		change := fmt.Sprintf("%s at %s in place of %s %s", limit, e.units.Figure(r.To), e.units.Figure(r.From), e.units.Name())
		if r.Limit == "pole_heights_mm" {
			change = fmt.Sprintf("%s %s among %s as well", e.units.Figure(r.To), e.units.Name(), limit)
		}
		e.print("with %s: %.2f dB off at the worst string, %.2f dB less; all within with a chance of %.0f %%%s", change, r.Worst, r.Gain, 100*r.Meets, worstSet(p))
	}
	e.print("advice: %s", p.Advice)
	e.warn(p.Warnings)
	for _, c := range plan.CautionsOf(o) {
		e.note("caution: %s", c)
	}
}

// printCost prints what is given away for being simpler.
func printCost(e *env, o *profiles.Order, p *plan.Plan) {
	switch {
	case p.Move != nil && p.Cost > 0 && o.Poles == profiles.Blade:
		e.print("of what serves nearly as well the pickup hangs where its strings lie closest together: %s at the worst string than the best%s", fartherOff(p.Cost), worstSet(p))
	case p.Move != nil && p.Cost > 0:
		e.print("of what serves as well the pickup is moved least: %s at the worst string than the best%s", fartherOff(p.Cost), worstSet(p))
	case p.Cost > 0:
		e.print("the best heights are %.2f mm; the plan is simpler, and %s at the worst string%s", p.Best, fartherOff(p.Cost), worstSet(p))
	}
	if p.Advice == plan.FlatIsEnough {
		worst := p.Flat.MaxWorst()
		e.print("flat tops at %.2f mm are expected to be %.2f dB off at the worst string, %.2f dB more than the plan%s", p.Flat.Height, worst, worst-p.MaxWorst(), worstSet(p))
	}
}

// fartherOff says what is given away, dB, to hundredths as what strings are off is told.
func fartherOff(cost float64) string {
	if text := profiles.Sprintf("%.2f", cost); text != "0.00" {
		return text + " dB farther off"
	}
	return "no farther off"
}

// worstSet says of figures under the tables that they are the worst string set's; "" for
// an order of one set.
func worstSet(p *plan.Plan) string {
	if len(p.Sets) == 0 {
		return ""
	}
	return fmt.Sprintf(" (under the worst of the %d string sets)", 1+len(p.Sets))
}

// printPoles prints the plan, string by string, with what the bench needs.
func printPoles(e *env, o *profiles.Order, p *plan.Plan) {
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	u, beside := e.units, ""
	if u == profiles.Inches {
		beside = "height mm\t"
	}
	step, stepName := u.SlopeStep()
	shared := len(p.Poles) > 0 && p.Poles[0].Numbers != nil
	poles := ""
	if shared {
		poles = "pole\t"
	}
	heads := fmt.Sprintf("string\tnote\t"+poles+"height %[1]s\t%[2]smay be off %[1]s\tgap %[1]s\tbalance dB\toff target dB\tdB per %[3]s\t", u.Name(), beside, stepName)
	if o.FormerDepth > 0 {
		heads += "length " + u.Name() + "\t"
	}
	matched := len(p.Poles) > 0 && p.Poles[0].Magnet != ""
	if matched {
		heads += "magnet\t"
	}
	fmt.Fprintln(tw, heads)
	for i, h := range p.Heights {
		q := p.Poles[i]
		fmt.Fprintf(tw, "%d\t%s\t", i+1, o.Strings[i].Note)
		if shared {
			fmt.Fprintf(tw, "%s\t", q.PoleNumbers())
		}
		fmt.Fprintf(tw, "%s\t", u.Figure(h))
		if beside != "" {
			profiles.Fprintf(tw, "%.2f\t", h)
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\t%s\t", mayBeOff(u, q), u.Figure(p.Gaps[i]), signed(p.Balance[i]), signed(p.Deviation[i]), signed(p.Slope[i]*step))
		if o.FormerDepth > 0 {
			fmt.Fprintf(tw, "%s\t", lengthOf(u, q))
		}
		if matched {
			fmt.Fprintf(tw, "%s\t", q.Magnet)
		}
		fmt.Fprintln(tw)
	}
	tw.Flush()
}

// lengthOf is the length of a pole; "" where the row that is planned has none.
func lengthOf(u profiles.Units, q plan.Pole) string {
	if q.Length == 0 {
		return ""
	}
	return u.Figure(q.Length)
}

// mayBeOff is how far a pole may stand from its height.
func mayBeOff(u profiles.Units, q plan.Pole) string {
	if q.Lower == 0 && q.Higher == 0 {
		return "none"
	}
	return u.Figure(-q.Lower) + " to " + u.Write("%+.2f", q.Higher)
}

// printStaggers prints the plan beside the others, under every string set.
func printStaggers(e *env, p *plan.Plan) {
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintf(tw, "stagger\tworst dB\tspread dB\t95 %% of builds\tall within %g dB\theights %s\n", p.Tolerance, e.units.Name())
	for _, s := range p.Staggers() {
		heights := "[" + strings.ReplaceAll(e.units.Figures(s.Heights), ",", "") + "]"
		if s.Strings != "" {
			heights = ""
		}
		profiles.Fprintf(tw, "%s\t%.2f\t%.2f\t%.2f to %.2f\t%.0f %%\t%s\n", title(s), s.Worst, s.Spread, s.Spread95[0], s.Spread95[1], 100*s.Meets, heights)
	}
	tw.Flush()
}

// title is how a table calls a stagger.
func title(s plan.Stagger) string {
	if s.Strings == "" {
		return s.Name
	}
	return "  with " + s.Strings
}

// printBalance prints the staggers' balance, string by string.
func printBalance(e *env, o *profiles.Order, p *plan.Plan) {
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintf(tw, "balance, dB, of string\t%s\n", stringCells(len(o.Strings)))
	for _, s := range p.Staggers() {
		fmt.Fprintf(tw, "%s\t%s\n", title(s), signedCells(s.Balance))
	}
	tw.Flush()
}

func printWhatIf(e *env, o *profiles.Order, changes []plan.Change) {
	if changes == nil {
		return
	}
	e.print("")
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintf(tw, "what if: balance changes, dB, of string\t%s\tspread dB\tall within\n", stringCells(len(o.Strings)))
	for _, c := range changes {
		profiles.Fprintf(tw, "%s\t%s\t%.2f\t%.0f %%\n", e.units.Text(c.What), signedCells(c.Change), c.Spread, 100*c.Meets)
	}
	tw.Flush()
}
