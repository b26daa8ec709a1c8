package main

import (
	"context"
	"fmt"
	"text/tabwriter"

	"evenpole/shop"

	"github.com/spf13/cobra"
)

func newSessionsCmd(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "sessions",
		Short: "List the sessions of the record: what was mounted, and which readings count",
		Long: `Lists the sessions of readings.csv in the order in which they began: purpose, pickup,
string set, the day of the last reading, and how many readings are good takes, good
quiet readings, flagged by the jig, or taken back. What is mounted is what the session
was filed under last.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runSessions(cmd.Context(), e) },
	}
}

var sessionsJSON = newDocument[[]shop.SessionLine]()

func runSessions(ctx context.Context, e *env) error {
	s, err := e.theShop()
	if err != nil {
		return err
	}
	list, err := s.Sessions(ctx)
	if err != nil {
		return err
	}
	if e.json {
		return sessionsJSON.write(e, append([]shop.SessionLine{}, list...))
	}
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "session\tpurpose\tpickup\tstring set\tlast reading\tstrings\tgood takes\tquiet\tflagged\ttaken back")
	for _, l := range list {
		when := "-"
		if !l.Last.IsZero() {
			when = day(l.Last)
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\t%s\t%d\t%d\t%d\t%d\t%d\n", orDash(l.Session), orDash(string(l.Purpose)), orDash(l.Pickup), orDash(l.Set), when, l.Strings, l.Good, l.Quiet, l.Flagged, l.TakenBack)
	}
	return tw.Flush()
}

func orDash(text string) string {
	if text == "" {
		return "-"
	}
	return text
}
