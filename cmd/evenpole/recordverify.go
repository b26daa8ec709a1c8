package main

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"evenpole/capture/record"
	"evenpole/profiles"

	"github.com/spf13/cobra"
)

func newVerifyCmd(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "verify",
		Short: "Tell what was altered, removed or added by hand, and what is missing",
		Long: `Reads the whole record against the seals beside it (readings.seals.csv,
fields.seals.csv), which hold a digest of every row since it was written.

Faults are rows that were altered, removed or added, that cannot be read, or that
stand twice, and rows of sessions.csv that are gone though readings name the session.
Remarks are gaps in a jig's sequence, times that run backwards, and rows that were
never sealed. Rows are counted as a spreadsheet does: the header is row 1.

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

var auditJSON = newDocument[auditDocument]()

var sealJSON = newDocument[sealDocument]()

func runVerify(ctx context.Context, e *env) error {
	s, err := e.theRecord()
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
		e.print("%s: %s, %d as sealed", fromHere(f.File), profiles.Count(f.Rows, "row"), f.Sealed)
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
		e.print("no faults; %s", profiles.Count(a.Remarks, "remark"))
		return
	}
	e.print("%s; %s", profiles.Count(a.Faults, "fault"), profiles.Count(a.Remarks, "remark"))
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
