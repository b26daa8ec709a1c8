package main

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"text/tabwriter"

	"evenpole/shop"

	"github.com/spf13/cobra"
)

func newSessionsCmd(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "sessions",
		Short: "List the sessions of the record: what was mounted, and which readings count",
		Long: `Lists the sessions of the record in the order in which they began: purpose, pickup,
string set, the day of the last reading, and how many readings are good takes, good
quiet readings, flagged by the jig, taken back, or of the field; who captured, and whether
it is complete or open, as it was interrupted. What is mounted is what the session was
filed under last.`,
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
	list, err := late(ctx, e, s.Sessions)
	if err != nil {
		return err
	}
	if e.json {
		return sessionsJSON.write(e, append([]shop.SessionLine{}, list...))
	}
	return printSessions(e, list)
}

// printSessions prints a line a session.
func printSessions(e *env, list []shop.SessionLine) error {
	out := bufio.NewWriter(e.stdout) // the table comes cell by cell
	tw := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "session\tpurpose\tpickup\tstring set\tlast reading\tstrings\tgood takes\tquiet\tflagged\ttaken back\tfields\toperator\tstate")
	for _, l := range list {
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\t%s\t%d\t%d\t%d\t%d\t%d\t%d\t%s\t%s\n", orDash(l.Session), orDash(string(l.Purpose)), orDash(cmp.Or(l.Pickup, l.Batch)), orDash(l.Set), dayOrDash(l.Last),
			l.Strings, l.Good, l.Quiet, l.Flagged, l.TakenBack, l.Fields, orDash(l.Operator), sessionState(&l))
	}
	return errors.Join(tw.Flush(), out.Flush())
}

// sessionState is how a session stands: what it wanted is all there, or not.
func sessionState(l *shop.SessionLine) string {
	switch {
	case l.Open:
		return "open"
	case l.Good+l.Quiet+l.Fields == 0 && l.TakenBack > 0:
		return "taken back"
	}
	return "complete"
}
