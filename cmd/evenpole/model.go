package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"evenpole/fit"
	"evenpole/profiles"
	"evenpole/shop"

	"github.com/spf13/cobra"
)

func newModelCmd(e *env) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "model",
		Short: "List, show, compare and choose the shop's models",
		Long: `A shop keeps every model that it ever fitted: files in models/ that never change.
One of them is current, and plans and checks use it. A model is named by its
number.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			return withHint(badInput("which of list, show, compare and use?"), "see 'evenpole help model'")
		},
	}
	cmd.AddCommand(
		&cobra.Command{
			Use:   "list",
			Short: "List the models with what they stand on and how well they predict",
			Args:  cobra.NoArgs,
			RunE:  onModels(e, runModelList),
		},
		&cobra.Command{
			Use:   "show [N]",
			Short: "Show all of a model: estimates, range, errors, notes (default: the current one)",
			Args:  cobra.MaximumNArgs(1),
			RunE:  onModels(e, runModelShow),
		},
		&cobra.Command{
			Use:   "compare N M",
			Short: "Compare how two models predict the same pickups, which neither has seen",
			Long: `Compares how two models predict the same pickups of the shop's record: those that
neither was fitted on, where there are any. Else those that only one was fitted on,
or both: a model predicts these as they were left out when it was fitted.`,
			Args: cobra.ExactArgs(2),
			RunE: onModels(e, runModelCompare),
		},
		&cobra.Command{
			Use:   "use N",
			Short: "Make a model the current one",
			Args:  cobra.ExactArgs(1),
			RunE:  onModels(e, runModelUse),
		},
	)
	return cmd
}

// onModels runs a command on the models of the shop.
func onModels(e *env, run func(ctx context.Context, e *env, s *shop.Shop, args []string) error) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, args []string) error {
		s, err := e.theShop()
		if err != nil {
			return err
		}
		return run(cmd.Context(), e, s, args)
	}
}

// modelRow is one model in a list.
type modelRow struct {
	Model   string     `json:"file"`
	Current bool       `json:"current"`
	Fitted  *time.Time `json:"fitted"` // nil when the file does not say
	Program string     `json:"program"`
	Kind    string     `json:"model"`
	Data    string     `json:"data_sha256"`
	Pickups int        `json:"n_pickups"`
	Cells   int        `json:"n_cells"`
	Balance *float64   `json:"cv_rms_db"`
	Level   *float64   `json:"cv_rms_level_db"`
	Set     *float64   `json:"cv_set_rms_db"`
	Remark  string     `json:"remark"`
}

var (
	modelsJSON     = newDocument[[]modelRow]()
	modelJSON      = newDocument[modelDocument]()
	comparisonJSON = newDocument[comparisonDocument]()
	useJSON        = newDocument[useDocument]()
)

func runModelList(_ context.Context, e *env, s *shop.Shop, _ []string) error {
	names, err := s.Models()
	if err != nil {
		return err
	}
	current, err := s.CurrentModel()
	if err != nil && !errors.Is(err, shop.ErrNoModel) { // then no row is marked
		e.warn([]string{err.Error()})
	}
	rows := []modelRow{}
	for _, name := range names {
		rows = append(rows, rowOf(s, name, name == current))
	}
	if e.json {
		return modelsJSON.write(e, rows)
	}
	if len(rows) == 0 {
		e.note("the shop %s has no model yet: 'evenpole fit' makes one from the record", s.Dir())
		return nil
	}
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "model\t\tfitted\tkind\tpickups\tcells\tbalance\tlevel\tsets\tremark")
	for _, r := range rows {
		mark, fitted := "", "-"
		if r.Current {
			mark = "current"
		}
		if r.Fitted != nil {
			fitted = day(*r.Fitted)
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\t%d\t%d\t%s\t%s\t%s\t%s\n", number(r.Model), mark, fitted, r.Kind, r.Pickups, r.Cells,
			figure(r.Balance), figure(r.Level), figure(r.Set), r.Remark)
	}
	tw.Flush()
	e.print("balance, level, sets: dB rms, pickups and string sets left out when it was fitted")
	return nil
}

// rowOf describes a model; a file that is damaged says so in its remark.
func rowOf(s *shop.Shop, name string, current bool) modelRow {
	m, err := s.ReadModel(name)
	if err != nil {
		return modelRow{Model: name, Current: current, Remark: err.Error()}
	}
	r := modelRow{
		Model: name, Current: current, Program: m.Program, Kind: m.Kind, Data: m.Fingerprint, Pickups: m.Pickups, Cells: m.Cells,
		Balance: m.CVBalance, Level: m.CVLevel, Set: m.CVSet,
	}
	if h := m.History; h != nil {
		r.Fitted, r.Remark = &h.Time, h.Why
	}
	return r
}

// number is what people call a model: the figures of its file's name.
func number(name string) string {
	return strings.TrimSuffix(strings.TrimPrefix(name, "model-"), ".json")
}

// modelDocument is the JSON of "evenpole model show".
type modelDocument struct {
	File    string       `json:"file"`
	Current bool         `json:"current"`
	Program string       `json:"program"`
	Data    string       `json:"data_sha256"`
	History *fit.History `json:"history"`
	*fit.Report
}

func runModelShow(_ context.Context, e *env, s *shop.Shop, args []string) error {
	current, err := s.CurrentModel()
	if err != nil && len(args) == 0 {
		return err
	}
	name := current
	if len(args) > 0 {
		if name, err = s.FindModel(args[0]); err != nil {
			return err
		}
	}
	m, err := s.ReadModel(name)
	if err != nil {
		return err
	}
	if e.json {
		return modelJSON.write(e, modelDocument{s.ModelFile(name), name == current, m.Program, m.Fingerprint, m.History, &m.Report})
	}
	e.print("%s, by evenpole %s%s", s.ModelFile(name), m.Program, map[bool]string{true: ", current"}[name == current])
	if h := m.History; h != nil {
		e.print("fitted %s: %s", h.Time.Format(time.RFC3339), h.Why)
	}
	e.print("%s in %s of %s, of %s; fingerprint of the data %.12s", profiles.Count(m.Used, "take"), profiles.Count(m.Cells, "cell"), profiles.Count(m.Pickups, "pickup"), profiles.Count(m.Readings, "row"), m.Fingerprint)
	e.print("")
	printReport(e, &m.Report)
	printRange(e, &m.Range)
	e.print("")
	for _, w := range m.Warnings {
		e.print("note: %s", w)
	}
	return nil
}

// printRange says where a model holds.
func printRange(e *env, r *fit.Range) {
	e.print("")
	e.print("measured, and so good for: pole heights %.2f to %.2f mm, gaps %.2f to %.2f mm, cores %.3f to %.3f mm,",
		r.PoleHeight[0], r.PoleHeight[1], r.Gap[0], r.Gap[1], r.Core[0], r.Core[1])
	line := profiles.Sprintf("arcs of strings that rise %.1f to %.1f mm, wraps %s", r.Arc[0], r.Arc[1], wrapList(r.Wraps))
	if len(r.Batches) > 0 {
		line += "; magnet batches " + strings.Join(r.Batches, ", ")
	}
	e.print("%s", line)
}

// comparisonDocument is the JSON of "evenpole model compare".
type comparisonDocument struct {
	Models [2]string `json:"models"`
	fit.Comparison
}

func runModelCompare(ctx context.Context, e *env, s *shop.Shop, args []string) error {
	var models [2]*fit.Result
	var names [2]string
	for i, arg := range args {
		var err error
		if names[i], err = s.FindModel(arg); err != nil {
			return err
		}
		if models[i], err = s.ReadModel(names[i]); err != nil {
			return err
		}
	}
	data, err := late(ctx, e, s.Cells)
	if err != nil {
		return err
	}
	c := fit.Compare(models[0], models[1], data)
	if e.json {
		return comparisonJSON.write(e, comparisonDocument{names, c})
	}
	e.print("compared on %s", c.Basis)
	if len(c.Pickups) == 0 {
		return nil
	}
	e.print("%s: %s, which neither saw when it predicted them", profiles.Listed(c.Pickups), profiles.Count(c.Cells, "cell"))
	e.print("")
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "model\tkind\tbalance\tlevel")
	for i, m := range models {
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\n", number(names[i]), m.Kind, decibels(c.Balance[i]), decibels(c.Level[i]))
	}
	return tw.Flush()
}

// useDocument is the JSON of "evenpole model use".
type useDocument struct {
	Current string `json:"current"`
	Before  string `json:"before"`
}

func runModelUse(_ context.Context, e *env, s *shop.Shop, args []string) error {
	name, err := s.FindModel(args[0])
	if err != nil {
		return err
	}
	before, err := s.UseModel(name, "as told by 'model use'")
	if err != nil {
		return err
	}
	if e.json {
		return useJSON.write(e, useDocument{name, before})
	}
	if before == name {
		e.print("%s is the shop's current model already", name)
	} else {
		e.print("%s is now the shop's current model, in place of %s", name, orNone(before))
	}
	return nil
}
