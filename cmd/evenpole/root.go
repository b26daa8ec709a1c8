package main

// What the program prints, and where:
//
//   - Results go to standard output: text for people, or with --json one JSON
//     document and nothing else.
//   - Progress, notes and warnings go to standard error.
//   - An error is one line on standard error, "evenpole: " first, lower case,
//     no full stop; what to try stands on "hint: " lines of its own.
//   - The exit status is decided in one place, exitStatus.

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/profiles"
	"evenpole/share"
	"evenpole/shop"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// run is the whole program but for the process: it returns the exit status.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	e := &env{stdout: stdout, stderr: stderr}
	started := false
	root := newRootCmd(e, &started)
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	cmd, err := root.ExecuteContextC(ctx)
	if err != nil && !started { // cobra refused the words themselves
		err = withHint(&inputError{plainly(err)}, usageHints(cmd, err)...)
	}
	complain(stderr, err, e.units)
	return exitStatus(err)
}

// usageHints says how a command is used that cobra refused.
func usageHints(cmd *cobra.Command, err error) []string {
	hints := []string{"see '" + cmd.CommandPath() + " --help'"}
	if strings.HasPrefix(err.Error(), "unknown command") && !cmd.HasSubCommands() {
		hints = append([]string{"it is '" + cmd.UseLine() + "'"}, hints...)
	}
	return hints
}

// plainly says of a flag's value that is no number what is wanted, in place of what Go's
// parsers say, and which command may have been meant, on one line.
func plainly(err error) error {
	if said, near, ok := strings.Cut(err.Error(), "\n\nDid you mean this?\n"); ok {
		return fmt.Errorf("%s; did you mean %q?", said, strings.Join(strings.Fields(near), ", "))
	}
	var value *pflag.InvalidValueError
	var number *strconv.NumError
	if !errors.As(err, &value) || !errors.As(err, &number) {
		return err
	}
	want := "a whole number"
	switch number.Func {
	case "ParseFloat":
		want = "a number, with a point for decimals"
	case "ParseBool":
		want = "true or false"
	}
	if errors.Is(number, strconv.ErrRange) {
		want += " of a size that a machine can count"
	}
	return fmt.Errorf("--%s: expected %s, got %q", value.GetFlag().Name, want, value.GetValue())
}

// complain prints an error for people, with lengths in units.
func complain(w io.Writer, err error, units profiles.Units) {
	var v exit
	if err == nil || errors.As(err, &v) {
		return
	}
	fmt.Fprintf(w, "evenpole: %s\n", units.Text(strings.ReplaceAll(strings.TrimSpace(err.Error()), "\n", "; ")))
	hints := hintsOf(err)
	for h := (*hinted)(nil); errors.As(err, &h); err = h.err {
		for _, s := range h.hints {
			if !slices.Contains(hints, s) {
				hints = append(hints, s)
			}
		}
	}
	if len(hints) == 0 && errors.Is(err, syscall.EROFS) {
		hints = []string{"nothing can be written there: copy the shop to a disk that can be written to, or name a file elsewhere"}
	}
	for _, s := range hints {
		fmt.Fprintf(w, "hint: %s\n", s)
	}
}

// hintsOf says what to do about errors of the shop.
func hintsOf(err error) []string {
	switch {
	case errors.Is(err, shop.ErrNoShop):
		return []string{"name one with --shop, this one as --shop . ; 'evenpole capture' makes a folder a shop with its first reading, and so does a shop.toml"}
	case errors.Is(err, shop.ErrNoModel):
		return []string{"'evenpole fit' makes one from the record"}
	case errors.Is(err, shop.ErrUnknownModel):
		return []string{"'evenpole model list' shows them"}
	case errors.Is(err, shop.ErrCertificate):
		return []string{"put the file back from a copy; where there is none, move it out of the folder: its pages stay, and its number is not given again"}
	case errors.Is(err, shop.ErrThere):
		return []string{"choose another name, or replace it with --force"}
	case errors.Is(err, shop.ErrKept), errors.Is(err, shop.ErrWork):
		return []string{"choose another name"}
	case errors.Is(err, shop.ErrOwned):
		return []string{"choose a name outside of the record, mounts, orders, models, calibrations and certificates"}
	case errors.As(err, new(*record.ColumnError)):
		return []string{"the file is of before there was such a column: in a spreadsheet, write its name beside the last one of the first line, leave its cells empty, " +
			"and save it as CSV; rows keep what they say, and their seals"}
	case ofRecord(err) == 1: // its header
		return []string{importBack}
	case ofRecord(err) > 1:
		return []string{"'evenpole record verify' names every row that does not say what was written; what it said, put back into its place, makes the record whole", importBack}
	case errors.Is(err, shop.ErrUnknownID):
		return []string{"'evenpole record list' lists them"}
	case errors.Is(err, shop.ErrNoReadings):
		return []string{"put a pickup on the jig: 'evenpole mount new FILE' describes it, 'evenpole capture' reads it; 'evenpole record import' takes a spreadsheet"}
	case errors.Is(err, shop.ErrNoFields):
		return []string{"capture loose magnets with 'evenpole capture --purpose batch --field all', or name a file with --fields"}
	}
	return nil
}

// importBack is the way back where a spreadsheet saved a file of the record and there is no
// other copy of it.
const importBack = "where a spreadsheet saved the file otherwise, put back a copy of before; without one, give the file another name and 'evenpole record import' it: " +
	"that reads semicolons, decimal commas and other dates, and the rows come back into their sessions; then 'evenpole record seal'"

// ofRecord is the line of a shop's own record that cannot be read, 1 for its header; 0 where
// the error is of something else.
func ofRecord(err error) (line int) {
	var row *record.RowError
	if !errors.As(err, &row) {
		return 0
	}
	if name := filepath.Base(row.File); name == record.ReadingsFile || name == record.FieldsFile {
		return row.Line
	}
	return 0
}

// exitStatus maps an error to the exit status of the process.
func exitStatus(err error) int {
	var (
		v       exit
		input   *inputError
		shops   *shop.InputError
		prof    *profiles.Error
		row     *record.RowError
		columns *record.ColumnError
		kind    *disk.KindError
		setup   *capture.SetupError
		pitch   *capture.PitchError
		refused *record.RefusedError
		shared  *share.InputError
		path    *fs.PathError
	)
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &v):
		return v.status
	case errors.As(err, &input), errors.As(err, &shops), errors.As(err, &prof), errors.As(err, &row), errors.As(err, &columns), errors.As(err, &kind), errors.As(err, &setup), errors.As(err, &pitch), errors.As(err, &refused), errors.As(err, &shared):
		return exitInput
	case errors.As(err, &path) && errors.Is(err, fs.ErrNotExist) && path.Op == "open":
		return exitInput
	case errors.Is(err, syscall.EISDIR): // a folder where a file belongs
		return exitInput
	}
	return exitFailed
}

// newRootCmd builds the command tree. started is set once a command's own code
// runs: an error before that is one of usage.
func newRootCmd(e *env, started *bool) *cobra.Command {
	root := &cobra.Command{
		Use:   "evenpole",
		Short: "Pole heights that make every string equally loud",
		Long: `evenpole reads a bench jig over a serial port, keeps the shop's record, learns how
output follows pole height and core size, plans the pole heights that make every
string equally loud, and checks finished pickups.

Exit status: 0 done; 1 failed; 2 wrong usage or input; 3 done, and the verdict is
"out of tolerance"; 4 done, and the verdict is "cannot tell yet".

Ctrl-C, SIGTERM and SIGHUP end every command with exit status 1 (those that run until
then, with 0) and leave no file half written; a second one ends it at once.

What files say is in 'evenpole help order', 'mount', 'strings', 'batches' and 'shop'.
The examples of commands run in the shop that 'evenpole demo' leaves.`,
		Version:       version(),
		SilenceErrors: true,
		SilenceUsage:  true,
		PersistentPreRunE: func(cmd *cobra.Command, _ []string) error {
			if err := errors.Join(cmd.ValidateRequiredFlags(), cmd.ValidateFlagGroups()); err != nil { // cobra would look only after this
				return err
			}
			*started = true
			return nil
		},
	}
	root.PersistentFlags().BoolVar(&e.json, "json", false, "print one JSON document instead of text")
	root.PersistentFlags().StringVar(&e.shop, "shop", "", "the shop's `folder` (default: this folder or the nearest above it that is a shop)")
	root.PersistentFlags().Var((*unitsFlag)(&e.asked), "units", "tell lengths in this `unit`, mm or in (default: as the order is written, as shop.toml says, or mm); --json is in mm")
	root.AddCommand(
		newDemoCmd(e),
		newJigCmd(e),
		newCaptureCmd(e),
		newFitCmd(e),
		newModelCmd(e),
		newPicturesCmd(e),
		newPlanCmd(e),
		newExplainCmd(e), newNextCmd(e),
		newBatchCmd(e),
		newCheckCmd(e),
		newRepeatCmd(e),
		newCalibrateCmd(e),
		newDriftCmd(e),
		newRecordCmd(e),
		newShareCmd(e),
		newOrderCmd(e), newMountCmd(e), newStringsCmd(e), newBatchesTopic(), newShopTopic(),
		newPageCmd(e),
		newManCmd(e), newVersionCmd(e), newNoticesCmd(e),
	)
	showExamples(root)
	leaveWhenInterrupted(root)
	return root
}
