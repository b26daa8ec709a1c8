package main

import (
	"context"
	"errors"
	"io"
	"strings"

	"evenpole/jig"
	"evenpole/jig/verify"
	"evenpole/profiles"

	"github.com/spf13/cobra"
)

type verifyOptions struct {
	port      string
	baud      int
	quick     bool
	restart   bool
	tolerance float64
}

func newJigVerifyCmd(e *env) *cobra.Command {
	var o verifyOptions
	cmd := &cobra.Command{
		Use:   "verify --port PORT",
		Short: "Put a jig through the line protocol, clause by clause, and measure it",
		Long: `Puts any jig that speaks the line protocol through it, clause by clause of
firmware-notes, and prints what was expected beside what came. It says beforehand how
many plucks it makes, and makes no more. Then it measures: time from a command to its
answer, lines a second, scatter of ten takes of string 1, quiet level; and says what
that means for a tolerance. Nothing is recorded.

Have strings, or a known source, on the jig, and eyes away from its pluckers. Most
takes are quiet windows: some 300, or 50 with --quick, which leaves out filling the
jig's memory of 256 readings. With --restart you are asked, at the end, to switch the
jig off and on; without it that clause is skipped.

Exit status: 0 all clauses passed or were skipped; 3 a clause failed; 1 the jig is
silent or its port was lost.`,
		Args:        cobra.NoArgs,
		Annotations: map[string]string{endsItself: ""},
		RunE:        func(cmd *cobra.Command, _ []string) error { return runJigVerify(cmd.Context(), e, o) },
	}
	addPortFlags(cmd, &o.port, &o.baud)
	cmd.Flags().BoolVar(&o.quick, "quick", false, "leave out filling the jig's memory of 256 readings")
	cmd.Flags().BoolVar(&o.restart, "restart", false, "ask for the jig to be switched off and on, and look at that, too")
	cmd.Flags().Float64Var(&o.tolerance, "tolerance-db", 1, "`dB` of tolerance that the scatter is held against")
	return cmd
}

func runJigVerify(ctx context.Context, e *env, o verifyOptions) error {
	if !(o.tolerance > 0) || o.tolerance > 100 {
		return badInput("--tolerance-db: expected more than 0 and at most 100, got %g", o.tolerance)
	}
	open := func() (io.ReadWriteCloser, error) { return jig.Open(o.port, o.baud) }
	port, err := open()
	if err != nil {
		return err
	}
	return verifyJig(ctx, e, port, open, o)
}

var verifyJSON = newDocument[*verify.Report]()

// verifyJig verifies the jig behind a port and closes that.
func verifyJig(ctx context.Context, e *env, port io.ReadWriteCloser, open func() (io.ReadWriteCloser, error), o verifyOptions) error {
	opt := verify.Options{Name: o.port, Quick: o.quick, ToleranceDB: o.tolerance}
	if !e.json {
		opt.Each = e.showFinding
	}
	if o.restart {
		opt.Restart = verify.Restart{
			Ask:    func() { e.note("now switch the jig off and on, within two minutes") },
			Reopen: open,
		}
	}
	run, err := verify.Start(ctx, port, opt)
	if errors.Is(err, jig.ErrSilent) {
		return withHint(err, "is this the jig's port, is it powered, and does it speak at the right rate?")
	}
	if err != nil {
		return stoppedOr(err)
	}
	defer run.Close()
	e.announce(run)
	rep, err := run.Go(ctx)
	if err != nil {
		return stoppedOr(err)
	}
	if err := e.showReport(rep); err != nil {
		return err
	}
	if !rep.Passed() {
		return exit{exitOutOfTolerance}
	}
	return nil
}

// stoppedOr is the error of a command that was interrupted, or what went wrong.
func stoppedOr(err error) error {
	if errors.Is(err, context.Canceled) {
		return errStopped
	}
	return err
}

// announce says what is there and what will move.
func (e *env) announce(run *verify.Run) {
	id, p := run.Jig(), run.Plan()
	e.note("jig %s, boot %s, firmware %s: %s, full scale %.1f mV, excite %s",
		id.Jig, id.Boot, id.Firmware, profiles.Count(id.Strings, "string"), id.FullScaleMV, id.Excite)
	if id.Excite == jig.Drive {
		e.note("it will drive string 1 for %s and read the field at position 1 twice; the rest are quiet windows", profiles.Count(p.DriveWindows, "window"))
		return
	}
	e.note("it will pluck %s, string 1 ten times and each other once, and read the field at position 1 twice; the rest are quiet windows", profiles.Count(p.Plucks, "time"))
}

// showFinding prints a clause: what was expected beside what came.
func (e *env) showFinding(f verify.Finding) {
	e.print("%-7s %s (%s)", f.Result, f.Clause, f.Section)
	e.print("        expected: %s", f.Expected)
	e.print("        came:     %s", f.Came)
}

func (e *env) showReport(rep *verify.Report) error {
	if e.json {
		return verifyJSON.write(e, rep)
	}
	e.print("")
	for _, line := range rep.Measured.Words() {
		e.print("%s", line)
	}
	e.print("")
	passed := len(rep.Findings) - len(rep.Failed) - len(rep.Skipped)
	e.print("%s passed, %d failed, %d skipped; %s asked for", profiles.Count(passed, "clause"), len(rep.Failed), len(rep.Skipped), profiles.Count(rep.Asked.Plucks, "pluck"))
	if !rep.Passed() {
		e.print("failed: %s", strings.Join(rep.Failed, ", "))
	}
	return nil
}
