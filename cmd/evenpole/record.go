package main

import (
	"cmp"
	"context"
	"io"
	"slices"
	"strings"
	"time"

	"evenpole/capture/record"
	"evenpole/profiles"

	"github.com/spf13/cobra"
)

func newRecordCmd(e *env) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "record",
		Short: "List and verify the shop's record, correct it, take readings back, import and export",
		Long: `Works on readings.csv and fields.csv, which only ever grow: what is corrected,
taken back or brought in is added, and nothing that stands there is changed.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			return withHint(badInput("which of verify, seal, amend, retract, import, export, list, show and sessions?"), "see 'evenpole help record'")
		},
	}
	cmd.AddCommand(newListCmd(e), newShowCmd(e), newSessionsCmd(e), newVerifyCmd(e), newSealCmd(e), newAmendCmd(e), newRetractCmd(e), newImportCmd(e), newExportCmd(e))
	return cmd
}

func newVerifyCmd(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "verify",
		Short: "Tell what was altered, removed or added by hand, and what is missing",
		Long: `Reads the whole record against the seals beside it (readings.seals.csv,
fields.seals.csv), which hold a digest of every row since it was written.

Faults are rows that were altered, removed or added, that cannot be read, or that
stand twice. Remarks are gaps in a jig's sequence, times that run backwards, and
rows that were never sealed. Rows are counted as a spreadsheet does: the header
is row 1.

Exit status: 0 no faults; 1 faults.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runVerify(cmd.Context(), e) },
	}
}

// auditDocument is the JSON of "evenpole record verify".
type auditDocument struct {
	record.Audit
	Findings []record.Finding `json:"findings"`
}

var (
	auditJSON      = newDocument[auditDocument]()
	sealJSON       = newDocument[sealDocument]()
	retractionJSON = newDocument[record.Retraction]()
	exportJSON     = newDocument[exportDocument]()
)

func runVerify(ctx context.Context, e *env) error {
	s, err := e.theShop()
	if err != nil {
		return err
	}
	findings := []record.Finding{}
	audit, err := late(ctx, e, func(ctx context.Context) (record.Audit, error) {
		return record.Verify(ctx, s.Dir(), func(f record.Finding) { findings = append(findings, f) })
	})
	if err != nil {
		return err
	}
	slices.SortStableFunc(findings, func(a, b record.Finding) int {
		return cmp.Or(strings.Compare(b.File, a.File), cmp.Compare(a.First, b.First)) // readings before fields
	})
	if e.json {
		err = auditJSON.write(e, auditDocument{audit, findings})
	} else {
		printAudit(e, audit, findings)
	}
	if err == nil && audit.Faults > 0 {
		return exit{exitFailed}
	}
	return err
}

// mostFindings is how many findings are written out for people to read.
const mostFindings = 200

func printAudit(e *env, a record.Audit, findings []record.Finding) {
	for _, f := range a.Files {
		e.print("%s: %s, %d as sealed", f.File, count(f.Rows, "row"), f.Sealed)
	}
	for i, f := range findings {
		if i == mostFindings {
			e.print("and %d more, which --json lists", len(findings)-i)
			break
		}
		what := "remark"
		if f.Fault {
			what = "fault"
		}
		e.print("%s: %v", what, f)
	}
	if a.Faults == 0 {
		e.print("no faults; %s", count(a.Remarks, "remark"))
		return
	}
	e.print("%s; %s", count(a.Faults, "fault"), count(a.Remarks, "remark"))
}

func newSealCmd(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "seal",
		Short: "Seal the record as it stands, faults and all",
		Long: `Seals every row as it stands, for a record that has no seals, or after faults that
'evenpole record verify' told and that are understood. The seals until now are set
aside, and verify goes on to say that the rows were sealed on request.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return runSeal(e) },
	}
}

// sealDocument is the JSON of "evenpole record seal".
type sealDocument struct {
	Done []string `json:"done"`
}

func runSeal(e *env) error {
	return e.withWriter(func(w *record.Writer) error {
		done, err := w.Seal(time.Now())
		if err != nil {
			return err
		}
		if e.json {
			return sealJSON.write(e, sealDocument{append([]string{}, done...)})
		}
		for _, line := range done {
			e.print("%s", line)
		}
		if len(done) == 0 {
			e.print("the record has no rows: nothing sealed")
		}
		return nil
	})
}

type retractOptions struct {
	record.Target
	seq    int64
	fields bool
	reason string
}

func newRetractCmd(e *env) *cobra.Command {
	var o retractOptions
	cmd := &cobra.Command{
		Use:   "retract (--jig JIG --boot BOOT --seq N | --row N [--fields] | --session SESSION) [--reason TEXT]",
		Short: "Take a reading or a session back",
		Long: `Takes a reading back, by its identity or by its row (the header is row 1), or all
readings of a session. For each a row with the status retracted is added; the
reading itself stays where it is, and counts no more. A capture whose takes were
taken back is no longer complete: the same command makes them again. Where only
the mount was filed wrongly, see 'evenpole record amend'.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runRetract(e, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.Jig, "jig", "", "the reading's `jig`")
	f.StringVar(&o.Boot, "boot", "", "the reading's `boot`")
	f.Int64Var(&o.seq, "seq", -1, "the reading's `number`")
	f.IntVar(&o.Row, "row", 0, "the reading's row `number` in readings.csv")
	f.BoolVar(&o.fields, "fields", false, "the row is one of fields.csv")
	f.StringVar(&o.Session, "session", "", "a whole `session`")
	f.StringVar(&o.reason, "reason", "", "why: goes into the note")
	return cmd
}

// target returns the one thing that the flags name.
func (o *retractOptions) target() (record.Target, error) {
	byName := o.Jig != "" && o.Boot != "" && o.seq >= 0 && o.seq < 1<<32
	anyName := o.Jig != "" || o.Boot != "" || o.seq != -1
	t := o.Target
	t.Seq, t.File = uint32(max(o.seq, 0)), record.ReadingsFile
	if o.fields {
		t.File = record.FieldsFile
	}
	ways := 0
	for _, way := range []bool{anyName, o.Row != 0, o.Session != ""} {
		if way {
			ways++
		}
	}
	switch {
	case ways != 1, anyName && !byName, o.Row < 0, o.fields && o.Row == 0:
		return t, badInput("expected --jig, --boot and --seq, or --row (with --fields for one of fields.csv), or --session")
	}
	return t, nil
}

func runRetract(e *env, o retractOptions) error {
	target, err := o.target()
	if err != nil {
		return err
	}
	s, err := e.theShop()
	if err != nil {
		return err
	}
	if err := target.Check(s.Dir()); err != nil { // before a lock is taken for nothing
		return err
	}
	return e.withWriter(func(w *record.Writer) error {
		done, err := w.Retract(target, o.reason, time.Now())
		if err != nil {
			return err
		}
		if e.json {
			return retractionJSON.write(e, done)
		}
		e.print("%v: taken back %s and %s", &target, count(done.Readings, "reading"), count(done.Fields, "field reading"))
		if done.Already > 0 {
			e.print("  %d had been taken back before", done.Already)
		}
		if done.Nameless > 0 {
			e.note("warning: %s without jig, boot and seq could not be taken back", count(done.Nameless, "row"))
		}
		return nil
	})
}

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
	s, err := e.theShop()
	if err != nil {
		return err
	}
	if err := o.check(e.json); err != nil {
		return err
	}
	file := record.ReadingsFile
	if o.fields {
		file = record.FieldsFile
	}
	if o.out == "" {
		_, err := export(ctx, e, e.stdout, s.Dir(), file, o.filter)
		return err
	}
	rows := 0
	err = s.WriteFile(o.out, e.force, func(f io.Writer) (err error) {
		rows, err = export(ctx, e, f, s.Dir(), file, o.filter)
		return err
	})
	if err != nil {
		return err
	}
	if e.json {
		return exportJSON.write(e, exportDocument{o.out, rows})
	}
	e.print("%s written to %s", count(rows, "row"), o.out)
	return nil
}

func export(ctx context.Context, e *env, to io.Writer, dir, file string, filter record.Filter) (rows int, err error) {
	return late(ctx, e, func(ctx context.Context) (int, error) { return record.Export(ctx, to, dir, file, filter) })
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
