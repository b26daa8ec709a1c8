package main

import (
	"errors"
	"fmt"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"evenpole/capture"
	"evenpole/fit"

	"github.com/spf13/cobra"
)

// The shop's models: files that never change, and one that names the current.
const (
	modelsDir   = "models"
	currentFile = "current.txt"
)

type fitOptions struct {
	readings []string
	out      string
	now      func() time.Time
}

func newFitCmd(e *env) *cobra.Command {
	o := fitOptions{now: time.Now}
	cmd := &cobra.Command{
		Use:   "fit [--readings FILE]... [--out MODEL]",
		Short: "Fit the model to the shop's record",
		Long: `Fits how a string's level follows the pole under it, to the shop's readings.csv or
to the files named. Two log-linear models are tried, on pole height and on gap, and
the falloff model; the one that best predicts the balance of pickups left out of the
fit is kept.

In a shop the model is written to models/ and becomes the current one; --out
writes it to a file of your choice instead. Outside a shop, without --out,
nothing is written.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runFit(e, o) },
	}
	cmd.Flags().StringArrayVar(&o.readings, "readings", nil, "readings `file` to fit instead of the shop's (repeatable)")
	cmd.Flags().StringVar(&o.out, "out", "", "write the model to this `file`")
	return cmd
}

func runFit(e *env, o fitOptions) error {
	if err := e.shopExists(); err != nil {
		return err
	}
	shop, inShop := e.findShop()
	if len(o.readings) == 0 {
		dir, err := e.shopDir()
		if err != nil {
			return err
		}
		o.readings = []string{filepath.Join(dir, capture.ReadingsFile)}
	}
	if o.out != "" && !missing(o.out) {
		return withHint(badInput("%s is there already: a model file never changes", o.out), "choose another name")
	}
	result, err := fitFiles(o.readings)
	if err != nil {
		return err
	}
	result.Program, result.Created = version(), o.now().UTC()
	kept := ""
	switch {
	case o.out != "":
		kept, err = o.out, result.Write(o.out)
	case inShop:
		kept, err = keepModel(shop, result)
	}
	if err != nil {
		return err
	}
	if e.json {
		return e.writeJSON(result.Report)
	}
	printFit(e, o.readings, &result.Report)
	if kept == "" {
		e.note("not written: name a file with --out, or run it in a shop")
	} else {
		e.print("model written to %s", kept)
	}
	return nil
}

// fitFiles gathers files into one record and fits the kind that predicts best.
func fitFiles(files []string) (*fit.Result, error) {
	var rows []iter.Seq2[capture.Reading, error]
	for _, name := range files {
		f, err := os.Open(name)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		rows = append(rows, capture.Readings(f, name))
	}
	data, err := fit.Gather(rows...)
	if err != nil {
		return nil, err
	}
	result, err := fit.Best(data)
	if cannot := (*fit.CannotFitError)(nil); errors.As(err, &cannot) {
		return nil, &inputError{fmt.Errorf("%s: %w", strings.Join(files, ", "), err)}
	}
	return result, err
}

// keepModel writes a model under the next free number and makes it current.
func keepModel(shop string, r *fit.Result) (string, error) {
	dir := filepath.Join(shop, modelsDir)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return "", err
	}
	for n := 1; ; n++ {
		name := fmt.Sprintf("model-%03d.json", n)
		path := filepath.Join(dir, name)
		if !missing(path) {
			continue
		}
		if err := r.Write(path); err != nil {
			return "", err
		}
		return path, writeFile(filepath.Join(dir, currentFile), func(f *os.File) error {
			_, err := fmt.Fprintln(f, name)
			return err
		})
	}
}

// currentModel is the path of the shop's current model.
func currentModel(shop string) (string, error) {
	path := filepath.Join(shop, modelsDir, currentFile)
	text, err := os.ReadFile(path)
	if err != nil {
		return "", withHint(badInput("the shop %s has no model yet", shop), "'evenpole fit' makes one from the record")
	}
	name := strings.TrimSpace(string(text))
	if name != filepath.Base(name) || name == "" {
		return "", badInput("%s:1: expected the name of a model file beside it, got %q", path, name)
	}
	return filepath.Join(shop, modelsDir, name), nil
}

func printFit(e *env, files []string, r *fit.Report) {
	e.print("%s: %d rows, %d takes used in %d cells of %d pickups", strings.Join(files, ", "), r.Readings, r.Used, r.Cells, r.Pickups)
	for _, l := range r.LeftOut {
		e.print("  left out: %d %s (first at line %d)", l.Count, l.Reason, l.Line)
	}
	e.print("")
	e.print("model %s", r.Kind)
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(tw, "parameter\tvalue\tstandard error\tunit\t")
	for _, p := range r.Parameters {
		fmt.Fprintf(tw, "%s\t%.3f\t%.3f\t%s\t\n", p.Name, p.Value, p.SE, p.Unit)
	}
	tw.Flush()
	e.print("")
	e.print("left in a cell's level: %.2f dB", r.ResidualSD)
	e.print("pickups left out and predicted from the others: balance %s, level %s (rms)", decibels(r.CVBalance), decibels(r.CVLevel))
	others := slices.DeleteFunc(slices.Clone(r.Compared), func(s fit.Score) bool { return s.Kind == r.Kind })
	for _, s := range others {
		e.print("  %s would have: balance %s, level %s", s.Kind, decibels(s.CVBalance), decibels(s.CVLevel))
	}
	e.warn(r.Warnings)
}

func decibels(v *float64) string {
	if v == nil {
		return "cannot be told"
	}
	return fmt.Sprintf("%.2f dB", *v)
}
