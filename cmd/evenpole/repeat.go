package main

import (
	"context"
	"fmt"
	"text/tabwriter"

	"evenpole/capture"
	"evenpole/fit/level"
	"evenpole/fit/repeat"
	"evenpole/profiles"
	"evenpole/shop"

	"github.com/spf13/cobra"
)

type repeatOptions struct {
	repeat.Options
	order     string
	operators string
	since     string
	shared    sharedFlag
}

func newRepeatCmd(e *env) *cobra.Command {
	var o repeatOptions
	cmd := &cobra.Command{
		Use:   "repeat [--pickup ID] [--order ORDER | --tolerance-db X]",
		Short: "Tell how well the jig repeats itself, and what that leaves of a tolerance",
		Long: `Analyses the sessions of purpose repeat: by how much takes, mountings, sittings at
the bench and operators differ, in balance and in level, with intervals; what share
of a tolerance the jig eats; and how many takes a verdict needs.

A session is a mounting, and a pause of three hours ends a sitting. Who mounted what
'capture --operator' has told. operators.csv in the shop goes before that: columns
session and operator, and sitting or mounting where the above does not hold.
'evenpole repeat design' plans a study. Thousands of sessions, such as a reference pickup's of ten years, take a minute:
--pickup and --since pick the study's.

--shared studies the readings of all benches of a shared record (see 'evenpole share'):
a reference pickup that travels, once 'share same pickup' says that it is one, tells by
how much their jigs differ, with an interval. Calibrations are applied there, so that it
is what they leave.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runRepeat(cmd.Context(), e, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.Pickup, "pickup", "", "the pickup's `id` (default: all that have sessions of purpose repeat)")
	f.StringVar(&o.order, "order", "", "order `file`, for its tolerance")
	f.Float64Var(&o.Tolerance, "tolerance-db", 0, "`tolerance` either side, dB")
	f.StringVar(&o.operators, "operators", "", "`file` that says who mounted what (default: operators.csv in the shop)")
	f.StringVar(&o.since, "since", "", "sessions from this `day` on only (2026-03-02)")
	sharedFlagOf(cmd, &o.shared)
	f.IntVar(&o.Takes, "takes", capture.DefaultTakes, "`takes` of a string in a check")
	f.Float64Var(&o.Want, "want", 0.3, "wanted U of a check, as a `share` of the tolerance")
	cmd.MarkFlagsMutuallyExclusive("order", "tolerance-db")
	cmd.AddCommand(newRepeatDesignCmd(e))
	return cmd
}

var (
	studyJSON  = newDocument[*repeat.Study]()
	designJSON = newDocument[*repeat.Design]()
)

func runRepeat(ctx context.Context, e *env, o repeatOptions) error {
	here, err := e.theShop()
	if err != nil {
		return err
	}
	if o.Since, err = dayFlag("since", o.since); err != nil {
		return err
	}
	if o.Tolerance < 0 || o.Takes < 1 || !(o.Want > 0) {
		return badInput("tolerance, takes and want: expected 0 or more dB, 1 or more and more than 0, got %g, %d and %g", o.Tolerance, o.Takes, o.Want)
	}
	if o.order != "" {
		order, err := e.readOrder(here, o.order)
		if err != nil {
			return err
		}
		o.Tolerance = order.Tolerance
	}
	s, err := study(ctx, e, here, o)
	if err != nil {
		return err
	}
	if e.json {
		return studyJSON.write(e, s)
	}
	printStudy(e, s)
	return nil
}

func printStudy(e *env, s *repeat.Study) {
	const date = "2006-01-02"
	e.print("%s of %s, %s to %s", profiles.Count(s.Runs, "session"), profiles.Listed(s.Pickups), s.From.Format(date), s.To.Format(date))
	e.print("")
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(tw, "what differs\tn\teach string on its own dB\t%.0f %% interval\tmean level dB\t%.0f %% interval\t\n", 100*s.Confidence, 100*s.Confidence)
	for i, c := range s.Balance {
		l := s.Level[i]
		profiles.Fprintf(tw, "%s\t%d\t%.3f\t%.3f to %.3f\t%.3f\t%.3f to %.3f\t\n", c.Source, c.Levels, c.SD, c.Low, c.High, l.SD, l.Low, l.High)
	}
	tw.Flush()
	e.print("")
	e.print("a check of %s: balance known to %.3f dB (standard deviation), U %.2f dB; level to %.3f dB", profiles.Count(s.Check.Takes, "take"), s.Check.SD, s.Check.Expanded, s.Check.LevelSD)
	const least = 0.01 // for 0 is the usual to check
	e.print("whatever the takes, mounting it leaves %.3f dB a string: 'evenpole check --mounting-db %.2f' counts with it", s.Mounting, max(s.Mounting, least))
	printCompared(e, s.Compared, s.Confidence)
	if s.Tolerance != nil {
		printTolerance(e, s.Tolerance, s.Check.Takes)
	} else {
		e.note("note: give --order or --tolerance-db to see what share of it the jig eats")
	}
	e.warn(s.Warnings)
}

// study studies the readings of this shop, or of all benches.
func study(ctx context.Context, e *env, here *shop.Shop, o repeatOptions) (*repeat.Study, error) {
	if o.shared != "" {
		return e.repeatShared(ctx, o)
	}
	return late(ctx, e, func(ctx context.Context) (*repeat.Study, error) { return here.Repeat(ctx, o.Options, o.operators) })
}

// repeatShared studies the readings of all benches.
func (e *env) repeatShared(ctx context.Context, o repeatOptions) (*repeat.Study, error) {
	source, view, done, err := e.sharedSource(ctx, o.shared)
	if err != nil {
		return nil, err
	}
	defer done()
	captured, err := view.Operators()
	if err != nil {
		return nil, err
	}
	return late(ctx, e, func(ctx context.Context) (*repeat.Study, error) {
		return shop.RepeatOf(ctx, source, o.Options, captured, o.operators)
	})
}

// printCompared prints by how much jigs differ.
func printCompared(e *env, list []repeat.JigDifference, confidence float64) {
	interval := func(low, high level.Figure) string {
		if !low.Known() || !high.Known() {
			return "not known: measure again on both"
		}
		return profiles.Sprintf("%+.3f to %+.3f dB", float64(low), float64(high))
	}
	for _, c := range list {
		e.print("")
		e.print("jig %s reads %+.3f dB beside jig %s (%.0f %% interval: %s), by %s", c.Jigs[1], c.Level, c.Jigs[0], 100*confidence, interval(c.Low, c.High), profiles.Listed(c.Pickups))
		tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
		fmt.Fprintf(tw, "string	on its own dB\t%.0f %% interval\t\n", 100*confidence)
		for _, x := range c.Strings {
			profiles.Fprintf(tw, "%d\t%+.3f\t%s\t\n", x.String, x.Balance, interval(x.Low, x.High))
		}
		tw.Flush()
	}
}

func printTolerance(e *env, t *repeat.Tolerance, takes int) {
	e.print("")
	e.print("of a tolerance of +- %.2f dB the jig eats %.0f %% (6 standard deviations over the whole width): %s", t.Limit, 100*t.Share, t.Rating)
	e.print("")
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(tw, "takes\tstandard deviation dB\tU dB\tshare\t")
	for _, r := range t.Rows {
		profiles.Fprintf(tw, "%d\t%.3f\t%.2f\t%.0f %%\t\n", r.Takes, r.SD, r.Expanded, 100*r.Share)
	}
	tw.Flush()
	e.print("")
	want := fmt.Sprintf("U of %.2f dB (%.0f %% of the tolerance)", t.Want*t.Limit, 100*t.Want)
	switch {
	case t.Takes > 0:
		e.print("a verdict with a %s needs %s a string", want, profiles.Count(t.Takes, "take"))
	case t.Mountings > 0:
		e.print("no number of takes gives a %s; the mean of %s of %s would", want, profiles.Count(t.Mountings, "mounting"), profiles.Count(takes, "take"))
	default:
		e.print("neither takes nor mountings give a %s: operators or sittings differ too much", want)
	}
}

type designOptions struct {
	repeat.Wish
	mount string
}

func newRepeatDesignCmd(e *env) *cobra.Command {
	var o designOptions
	cmd := &cobra.Command{
		Use:   "design",
		Short: "Plan a repeat study: how many sittings, mountings and takes",
		Long: `Plans the study that takes the least time at the bench and is expected to tell how
unsure a check is, to the wanted certainty: 0.25 means that the true standard
deviation is at most 25 % above the found one (95 % one-sided). What you expect of
the jig goes in with --take-db and the like; operators only show when two or more
take part.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := atLeastOne(cmd, "operators", "strings", "takes"); err != nil {
				return err
			}
			return runDesign(e, o)
		},
	}
	f := cmd.Flags()
	f.Float64Var(&o.Certainty, "certainty", 0.25, "how far above the found standard deviation the true one may lie, as a `share`")
	f.IntVar(&o.Operators, "operators", 1, "`people` who take part")
	f.IntVar(&o.Strings, "strings", 6, "`strings` of the pickup")
	f.IntVar(&o.Takes, "takes", capture.DefaultTakes, "`takes` of a string in a check")
	f.Float64Var(&o.Guess.Take, "take-db", 0.3, "expected standard deviation of a take, `dB`")
	f.Float64Var(&o.Guess.Mounting, "mounting-db", 0.15, "that of a mounting, each string on its own, `dB`")
	f.Float64Var(&o.Guess.Sitting, "sitting-db", 0.05, "that of a sitting, `dB`")
	f.Float64Var(&o.Guess.Operator, "operator-db", 0.05, "that of an operator, `dB`")
	f.StringVar(&o.mount, "mount", "MOUNT", "mount `file`, for the commands")
	return cmd
}

func runDesign(e *env, o designOptions) error {
	d, err := repeat.NewDesign(o.Wish)
	if err != nil {
		return &inputError{err}
	}
	if e.json {
		return designJSON.write(e, d)
	}
	e.print("%s, %s each, %s a sitting, %s a string: some %.0f minutes at the bench", profiles.Count(d.Operators, "operator"), profiles.Count(d.Sittings, "sitting"),
		profiles.Count(d.Mountings, "mounting"), profiles.Count(d.Takes, "take"), d.Minutes)
	e.print("a check of %s is expected to know a balance to %.3f dB; the study will tell so with %.0f degrees of freedom, within %.0f %%", profiles.Count(d.Check, "take"), d.SD, d.DOF, 100*d.Certainty)
	if d.Operators == 1 {
		e.note("note: with one operator, what differs between people will not show")
	}
	e.print("")
	last := 0
	for _, s := range d.Plan {
		if s.Sitting != last {
			e.print("sitting %d, operator %d:", s.Sitting, s.Operator)
			last = s.Sitting
		}
		who := ""
		if d.Operators > 1 {
			who = fmt.Sprintf(" --operator OPERATOR-%d", s.Operator)
		}
		e.print("  %2d. mount the pickup anew, then: evenpole capture --port PORT --mount %s --purpose repeat --again --takes %d%s", s.Number, o.mount, d.Takes, who)
	}
	e.print("")
	e.print("The sittings lie three hours apart at least. To mount anew: take the pickup off, set every string height again.")
	if d.Operators > 1 {
		e.print("In place of OPERATOR-1 and so on stand the names of who mounts; %s puts right what was named wrongly.", repeat.OperatorsFile)
	}
	e.print("Then run 'evenpole repeat'.")
	return nil
}
