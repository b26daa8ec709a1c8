package main

import (
	"fmt"
	"math"
	"os"
	"text/tabwriter"

	"evenpole/fit"
	"evenpole/fit/plan"
	"evenpole/profiles"
	"evenpole/report"

	"github.com/spf13/cobra"
)

type planOptions struct {
	order string
	model string
	svg   string
}

func newPlanCmd(e *env) *cobra.Command {
	var o planOptions
	cmd := &cobra.Command{
		Use:   "plan --order ORDER",
		Short: "Plan pole heights for an order, beside flat tops and other staggers",
		Long: `Plans the pole heights that make the order's strings equally loud within its limits,
and judges them beside flat tops, poles on the strings' arc, and the staggers that
the order compares: the expected spread of a pickup built so, with interval, and
the chance that every string is within tolerance.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return runPlan(e, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.order, "order", "", "order `file`")
	f.StringVar(&o.model, "model", "", "model `file` (default: the shop's current model)")
	f.StringVar(&o.svg, "svg", "", "draw the poles, planned beside flat, into this `file`")
	required(cmd, "order")
	return cmd
}

func runPlan(e *env, o planOptions) error {
	order, err := e.readOrder(o.order)
	if err != nil {
		return err
	}
	p, err := makePlan(e, order, o.model)
	if err != nil {
		return err
	}
	if o.svg != "" {
		if err := drawPoles(o.svg, order, p); err != nil {
			return err
		}
	}
	if e.json {
		return e.writeJSON(p)
	}
	printPlan(e, order, p)
	if o.svg != "" {
		e.print("picture written to %s", o.svg)
	}
	return nil
}

// makePlan reads the model and plans an order.
func makePlan(e *env, order *profiles.Order, modelFile string) (*plan.Plan, error) {
	model, err := e.readModel(modelFile)
	if err != nil {
		return nil, err
	}
	p, err := plan.Make(order, model.Model, plan.Options{})
	if err != nil {
		return nil, &inputError{err}
	}
	return p, nil
}

// drawPoles draws the poles, planned beside flat.
func drawPoles(path string, order *profiles.Order, p *plan.Plan) error {
	return writeFile(path, func(f *os.File) error { return report.Poles(f, report.PlanPoles(order, p)) })
}

// readModel reads the model named, or the shop's current one.
func (e *env) readModel(path string) (*fit.Result, error) {
	if path == "" {
		dir, err := e.shopDir()
		if err != nil {
			return nil, err
		}
		if path, err = currentModel(dir); err != nil {
			return nil, err
		}
	}
	model, err := fit.ReadModel(path)
	if err != nil {
		return nil, &inputError{err}
	}
	return model, nil
}

func printPlan(e *env, o *profiles.Order, p *plan.Plan) {
	e.print("order %s: %s poles over batch %s, from %s", p.Order, o.Poles, o.Batch, p.Source)
	e.print("")
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(tw, "string\tnote\theight mm\tgap mm\tbalance dB\toff target dB\tdB per 0.1 mm\t")
	for i, h := range p.Heights {
		fmt.Fprintf(tw, "%d\t%s\t%.2f\t%.2f\t%s\t%s\t%s\t\n", i+1, o.Strings[i].Note, h, p.Gaps[i], signed(p.Balance[i]), signed(p.Deviation[i]), signed(p.Slope[i]))
	}
	tw.Flush()
	e.print("")
	tw = tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintf(tw, "stagger\tspread dB\t95 %% of builds\tall within %.1f dB\theights mm\n", p.Tolerance)
	row := func(name string, j plan.Judgement) {
		fmt.Fprintf(tw, "%s\t%.2f\t%.2f to %.2f\t%.0f %%\t%.2f\n", name, j.Spread, j.Spread95[0], j.Spread95[1], 100*j.Meets, j.Heights)
	}
	row("plan", p.Judgement)
	if p.Flat != nil {
		row("flat tops", p.Flat.Judgement)
	}
	row("strings' arc", p.Radius)
	for _, c := range p.Compare {
		row(c.Name, c.Judgement)
	}
	tw.Flush()
	e.print("")
	e.print("advice: %s", p.Advice)
	e.warn(p.Warnings)
	for _, c := range plan.Cautions(o.Poles) {
		e.note("caution: %s", c)
	}
}

// signed writes decibels with their sign; what rounds to zero is +0.00.
func signed(v float64) string {
	return fmt.Sprintf("%+.2f", math.Round(v*100)/100+0)
}
