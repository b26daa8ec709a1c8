package main

import (
	"fmt"
	"text/tabwriter"

	"evenpole/profiles"

	"github.com/spf13/cobra"
)

func newStringsCmd(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "strings",
		Short: "List the string sets: the built-in ones and the shop's own",
		Long: `List the string sets that an order or a mount can name with set = "NAME":
those built in (common practice) and those in the shop's strings.toml.

` + formatHelp(profiles.SetsFormat),
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return runStrings(e) },
	}
}

var setsJSON = newDocument[[]profiles.StringSet]()

func runStrings(e *env) error {
	s, err := e.shopHere()
	if err != nil {
		return err
	}
	lib, err := s.Library()
	if err != nil {
		return err
	}
	sets := lib.Sets()
	if e.json {
		return setsJSON.write(e, sets)
	}
	for i, set := range sets {
		if i > 0 {
			e.print("")
		}
		printSet(e, set)
	}
	return nil
}

// diameter writes a string's diameter in mm, to a tenth of a thousandth of an inch.
func diameter(u profiles.Units, mm float64) string {
	if u == profiles.Inches {
		return u.Write("%.3f", mm)
	}
	return u.Write("%.4f", mm)
}

func printSet(e *env, set profiles.StringSet) {
	e.print("%s (%s)", set.Name, set.Source)
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	units := e.units.AndBeside()
	heads := ""
	for _, u := range units {
		heads += fmt.Sprintf("gauge %[1]s\tcore %[1]s\t", u.Name())
	}
	fmt.Fprintf(tw, "  string\tnote\t%swrap\n", heads)
	for i, s := range set.Strings {
		fmt.Fprintf(tw, "  %d\t%s\t", i+1, s.Note)
		for _, u := range units {
			estimated := ""
			if s.CoreEstimated {
				estimated = " estimated"
			}
			fmt.Fprintf(tw, "%s\t%s%s\t", diameter(u, s.Gauge), diameter(u, s.Core), estimated)
		}
		fmt.Fprintln(tw, s.Wrap)
	}
	tw.Flush()
}
