package main

import (
	"context"
	"io"

	"evenpole/fit/drift"
	"evenpole/profiles"
	"evenpole/report"

	"github.com/spf13/cobra"
)

type driftOptions struct {
	drift.Options
	reference string
	of        string
	since     string
	svg       string
}

func newDriftCmd(e *env) *cobra.Command {
	var o driftOptions
	cmd := &cobra.Command{
		Use:   "drift [--reference PICKUP] [--of FIGURE]",
		Short: "Watch the jig by a reference pickup, or the pickups that ship",
		Long: `Draws control charts. With --reference: of a pickup that is kept for it and captured
every day with purpose repeat; its mean level by default, or its spread, the scatter of
one take, or the balance of a string (--of 3). Without: of the spread of finished
pickups, by their latest session of purpose check.

Centre and limits come from the first points. A point, the moving average and the
cumulative sum decide, where they are so far beyond their limits that all three
together call what has not changed out of control once in 370 points (a chance of
0.15 within the first 60). What is nearer, run rules and the scatter are reasons to
look. After a longer baseline smaller changes decide. Once what a signal told of is put
right, --since starts the charts anew.

Exit status: 0 in control; 3 out of control; 4 cannot tell yet (fewer than ten points).`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runDrift(cmd.Context(), e, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.reference, "reference", "", "the reference pickup's `id` (default: watch finished pickups)")
	f.StringVar(&o.of, "of", "", "`figure` to watch: level, spread, scatter or a string's number (default: level of a reference, spread of pickups)")
	f.IntVar(&o.Baseline, "baseline", 20, "first `points` that centre and limits come from")
	f.StringVar(&o.since, "since", "", "start the charts anew on this `day` (2026-03-02); the baseline stays")
	f.BoolVar(&o.Single, "single", false, "one value a day, though there are several sessions")
	svgFlag(cmd, &o.svg, "draw the charts into this `file`, .svg")
	e.writes(cmd)
	return cmd
}

var chartJSON = newDocument[*drift.Chart]()

func runDrift(ctx context.Context, e *env, o driftOptions) error {
	s, err := e.theShop()
	if err != nil {
		return err
	}
	if o.Since, err = dayFlag("since", o.since); err != nil {
		return err
	}
	c, err := late(ctx, e, func(ctx context.Context) (*drift.Chart, error) { return s.Drift(ctx, o.reference, o.of, o.Options) })
	if err != nil {
		return err
	}
	if o.svg != "" {
		if len(c.Panels) == 0 {
			return badInput("one point makes no chart to draw")
		}
		if err := e.writeFile(o.svg, func(f io.Writer) error { return report.Control(f, c) }); err != nil {
			return err
		}
	}
	if e.json {
		if err := chartJSON.write(e, c); err != nil {
			return err
		}
	} else {
		printDrift(e, c)
		if o.svg != "" {
			e.print("picture written to %s", o.svg)
		}
	}
	switch c.State {
	case drift.OutOfControl:
		return exit{exitOutOfTolerance}
	case drift.CannotTell:
		return exit{exitCannotTell}
	}
	return nil
}

func printDrift(e *env, c *drift.Chart) {
	e.print("%s, %s: %s", c.Subject, c.Of, c.State)
	points := profiles.Count(len(c.Points), "point")
	if !c.HasLimits() {
		e.print("%s: no limits yet", points)
	} else {
		e.print("%s; limits from the first %d: centre %.2f dB, sigma %.3f dB", points, c.Baseline, c.Centre, c.Sigma)
	}
	if c.Factor > 0 {
		e.print("%.2f times as far out as drawn they decide: one false alarm in %d points", c.Factor, drift.FalseAlarm)
	}
	for i := range c.Signals {
		e.print("%s", report.Signal(&c.Signals[i]))
	}
	e.warn(c.Warnings)
}
