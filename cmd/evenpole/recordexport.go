package main

import (
	"context"
	"io"
	"time"

	"evenpole/capture/record"
	"evenpole/profiles"

	"github.com/spf13/cobra"
)

var exportJSON = newDocument[exportDocument]()

type exportOptions struct {
	fields       bool
	out          string
	filter       record.Filter
	purposes     []string
	statuses     []string
	since, until string
}

func newExportCmd(e *env) *cobra.Command {
	var o exportOptions
	cmd := &cobra.Command{
		Use:   "export [--pickup ID]... [--session SESSION]... [--out FILE]",
		Short: "Write a part of the record as CSV",
		Long: `Writes the rows of readings.csv that every flag lets through, as they stand and
with all columns, to standard output or a new file. A flag that is repeated lets
any of its values through. What was taken back has the status retracted, whatever
its own row says: --status ok leaves it out. Days are those of UTC, as in the
record.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runExport(cmd.Context(), e, o) },
	}
	f := cmd.Flags()
	f.BoolVar(&o.fields, "fields", false, "export fields.csv")
	f.StringVar(&o.out, "out", "", "write to this new `file`")
	f.StringArrayVar(&o.filter.Pickups, "pickup", nil, "only this pickup's `id`")
	f.StringArrayVar(&o.filter.Batches, "batch", nil, "only this `batch` of magnets")
	f.StringArrayVar(&o.filter.Sessions, "session", nil, "only this `session`")
	f.StringArrayVar(&o.purposes, "purpose", nil, "only this `purpose`: "+profiles.Choice(record.Purposes()))
	f.StringArrayVar(&o.statuses, "status", nil, "only this `status`: "+profiles.Choice(record.Statuses()))
	f.StringVar(&o.since, "since", "", "only from this `day` (2025-03-03) or time on")
	f.StringVar(&o.until, "until", "", "only up to this `day`, included, or time")
	e.writes(cmd)
	return cmd
}

// exportDocument is the JSON of "evenpole record export".
type exportDocument struct {
	File string `json:"file"`
	Rows int    `json:"rows"`
}

func runExport(ctx context.Context, e *env, o exportOptions) error {
	s, err := e.theRecord()
	if err != nil {
		return err
	}
	if err := o.check(e.json); err != nil {
		return err
	}
	file := recordFile(o.fields)
	if o.out == "" {
		_, err := late(ctx, e, func(ctx context.Context) (int, error) { return record.Export(ctx, e.stdout, s.Dir(), file, o.filter) })
		return err
	}
	rows := 0
	err = s.WriteFile(o.out, e.force, func(f io.Writer) (err error) {
		rows, err = late(ctx, e, func(ctx context.Context) (int, error) { return record.ExportOnce(ctx, f, s.Dir(), file, o.filter) })
		return err
	})
	if err != nil {
		return err
	}
	if e.json {
		return exportJSON.write(e, exportDocument{o.out, rows})
	}
	e.print("%s written to %s", profiles.Count(rows, "row"), o.out)
	return nil
}

// check reads the flags that are not free text.
func (o *exportOptions) check(json bool) (err error) {
	if o.out == "" && json {
		return badInput("the rows are CSV: with --json, name a file for them with --out")
	}
	if o.filter.Purposes, err = eachOf("purpose", o.purposes, record.ParsePurpose); err != nil {
		return err
	}
	if o.filter.Statuses, err = eachOf("status", o.statuses, record.ParseStatus); err != nil {
		return err
	}
	if o.filter.Since, err = dayOrTime("since", o.since, 0); err != nil {
		return err
	}
	o.filter.Before, err = dayOrTime("until", o.until, 1)
	return err
}

// eachOf reads the words that a flag was given.
func eachOf[T any](flag string, words []string, parse func(string) (T, error)) (all []T, err error) {
	for _, word := range words {
		x, err := parse(word)
		if err != nil {
			return nil, badInput("%s: %w", flag, err)
		}
		all = append(all, x)
	}
	return all, nil
}

// dayOrTime reads a day, and adds so many days to it, or a time.
func dayOrTime(flag, text string, days int) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	if t, err := time.Parse(time.DateOnly, text); err == nil {
		return t.AddDate(0, 0, days), nil
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return t, badInput("%s: expected a day such as 2025-03-03 or a time such as 2025-03-03T08:49:54Z, got %q", flag, text)
	}
	return t, nil
}
