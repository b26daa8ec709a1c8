package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"evenpole/capture/record"
	"evenpole/fit"
	"evenpole/fit/explain"
	"evenpole/profiles"
	"evenpole/report"
	"evenpole/shop"

	"github.com/spf13/cobra"
)

type explainOptions struct {
	order   string
	heights string
	pickup  string
	session string
	model   string
	svg     string
}

func newExplainCmd(e *env) *cobra.Command {
	var o explainOptions
	cmd := &cobra.Command{
		Use:   "explain (--order ORDER [--heights HEIGHTS] | --pickup ID [--session S])",
		Short: "Say what makes each string as loud as it is, in dB by cause",
		Long: `Splits the balance of a pickup, string by string, into causes: the steel in core and
wrap, how fast the string moves, the gap by the string's height and by the pole's,
and so on. The parts of a string add up to its balance, and those of a cause to
zero over the strings. Of an order it splits what the model predicts, at the
planned heights or at --heights; of a measured pickup what was measured, with what
its magnets, strings and mounting add and what the model does not explain.

The causes work on each other, so that no split is the only one. Here each string
is turned into every other, one cause at a time; a cause's part is the mean over
all orders in which that can be done (the Shapley value).`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runExplain(cmd.Context(), e, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.order, "order", "", "order `file`")
	f.StringVar(&o.heights, "heights", "plan", "pole `heights`, string 1 first, such as 0.4,0.8,1.2 in the order's units, or 0.016in,0.8mm; one for all; or plan")
	f.StringVar(&o.pickup, "pickup", "", "the `id` of a pickup in the record")
	f.StringVar(&o.session, "session", "", "which `session` of the pickup (default: its latest)")
	f.StringVar(&o.model, "model", "", "model `file` (default: the shop's current model)")
	svgFlag(cmd, &o.svg, "draw it into this `file`, .svg")
	e.writes(cmd)
	return cmd
}

// explained is the JSON of "evenpole explain".
type explained struct {
	Order string `json:"order,omitempty"`
	*explain.Explanation
	Warnings []string `json:"warnings"`
}

var explainedJSON = newDocument[*explained]()

func runExplain(ctx context.Context, e *env, o explainOptions) error {
	switch {
	case (o.order == "") == (o.pickup == ""):
		return badInput("expected one of --order and --pickup")
	case o.order == "" && o.heights != "plan":
		return badInput("--heights goes with --order: a measured pickup's poles stand as they are")
	case o.pickup == "" && o.session != "":
		return badInput("--session goes with --pickup")
	}
	var x *explained
	var err error
	if o.order != "" {
		x, err = explainOrder(ctx, e, o)
	} else {
		x, err = explainPickup(ctx, e, o)
	}
	if err != nil {
		return err
	}
	if o.svg != "" {
		picture := report.Explained(x.title(), x.Explanation, e.units)
		if err := e.writeFile(o.svg, func(f io.Writer) error { return report.Explain(f, picture) }); err != nil {
			return err
		}
	}
	if e.json {
		return explainedJSON.write(e, x)
	}
	printExplained(e, x)
	if o.svg != "" {
		e.print("picture written to %s", o.svg)
	}
	return nil
}

func explainOrder(ctx context.Context, e *env, o explainOptions) (*explained, error) {
	s, err := e.shopHere()
	if err != nil {
		return nil, err
	}
	order, err := e.readOrder(s, o.order)
	if err != nil {
		return nil, err
	}
	model, err := s.Predictor(o.model)
	if err != nil {
		return nil, err
	}
	setup, heights, err := heightsOf(ctx, order, model, o.heights, e.units)
	if err != nil {
		return nil, err
	}
	x, warnings, err := shop.ExplainOrder(order, model, setup, heights)
	if err != nil {
		return nil, explainError(err)
	}
	if note := order.CentringNote(); note != "" && o.heights == "plan" {
		warnings = append(warnings, note)
	}
	return &explained{order.ID, x, warnings}, nil
}

// heightsOf is an order's pickup at the heights that --heights says.
func heightsOf(ctx context.Context, order *profiles.Order, model fit.Predictor, text string, u profiles.Units) (*fit.Setup, []float64, error) {
	if text == "plan" {
		return shop.Planned(ctx, order, model)
	}
	given, err := givenHeights(text, u)
	if err != nil {
		return nil, nil, err
	}
	setup, heights, err := shop.Given(order, given)
	if err != nil {
		return nil, nil, badInput("--heights: %w", err)
	}
	return setup, heights, nil
}

// givenHeights reads pole heights, which are in units where they have none of their own.
func givenHeights(text string, u profiles.Units) ([]float64, error) {
	var heights []float64
	for _, field := range strings.Split(text, ",") {
		h, err := u.Read(field)
		if err != nil {
			return nil, badInput("--heights: expected pole heights in %s, such as 0.4 or 0.016in, or plan, got %q", u.Name(), field)
		}
		heights = append(heights, h)
	}
	return heights, nil
}

func explainPickup(ctx context.Context, e *env, o explainOptions) (*explained, error) {
	s, err := e.theShop()
	if err != nil {
		return nil, err
	}
	model, err := s.Model(o.model)
	if err != nil {
		return nil, err
	}
	return late(ctx, e, func(ctx context.Context) (*explained, error) {
		data, err := s.Cells(ctx)
		if err != nil {
			return nil, err
		}
		record.Tell(ctx, "effects in %s", profiles.Count(len(data.Cells), "cell"))
		x, err := explain.ExplainPickup(model.Model, data, o.pickup, o.session)
		if err != nil {
			return nil, explainError(err)
		}
		return &explained{"", x, []string{}}, nil
	})
}

// explainError is what was asked for that cannot be explained.
func explainError(err error) error {
	if errors.As(err, new(*explain.NotMeasured)) {
		return withHint(&inputError{err}, "'evenpole record list' lists pickups and their sessions")
	}
	return withHint(&inputError{err}, "'evenpole model list' shows the shop's models; 'explain --model FILE' takes another one than the current")
}

// title is what the explanation is of.
func (x *explained) title() string {
	switch {
	case x.Order != "":
		return fmt.Sprintf("Order %s: why each string is as loud as predicted", x.Order)
	case x.Session == "":
		return fmt.Sprintf("Pickup %s: why each string is as loud as measured", x.Pickup)
	}
	return fmt.Sprintf("Pickup %s, session %s: why each string is as loud as measured", x.Pickup, x.Session)
}

func printExplained(e *env, x *explained) {
	e.print("%s", x.title())
	e.print("(%s, from %s; dB from the mean of all strings)", x.Model, x.Source)
	e.print("")
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	row := func(name string, figure func(s *explain.ExplainedString) string) {
		fmt.Fprintf(tw, "%s\t", name)
		for i := range x.Strings {
			fmt.Fprintf(tw, "%s\t", figure(&x.Strings[i]))
		}
		fmt.Fprintln(tw)
	}
	row("string", func(s *explain.ExplainedString) string {
		return strings.TrimSpace(fmt.Sprintf("%d %s", s.String, s.Note))
	})
	for _, u := range e.units.AndBeside() {
		row("pole height, "+u.Name(), func(s *explain.ExplainedString) string { return u.Figure(s.PoleHeight) })
		row("string height, "+u.Name(), func(s *explain.ExplainedString) string { return u.Figure(s.StringHeight) })
	}
	with, without := x.Parted()
	for _, c := range with {
		row(c.Words, func(s *explain.ExplainedString) string { return signed(s.Parts[c.Name]) })
	}
	row("balance", func(s *explain.ExplainedString) string { return signed(s.Balance) })
	tw.Flush()
	if len(without) > 0 {
		e.print("\nwithout part here: %s", explain.CauseWords(without))
	}
	if note := x.Under.HeightNote(); note != "" {
		e.note("note: %s", note)
	}
	e.warn(x.Warnings)
}
