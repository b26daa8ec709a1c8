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

func printSet(e *env, set profiles.StringSet) {
	e.print("%s (%s)", set.Name, set.Source)
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "  string\tnote\tgauge mm\tcore mm\twrap")
	for i, s := range set.Strings {
		core := fmt.Sprintf("%.4f", s.Core)
		if s.CoreEstimated {
			core += " estimated"
		}
		fmt.Fprintf(tw, "  %d\t%s\t%.4f\t%s\t%s\n", i+1, s.Note, s.Gauge, core, s.Wrap)
	}
	tw.Flush()
}
