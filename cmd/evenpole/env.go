package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"strings"

	"evenpole/profiles"
	"evenpole/report/pdf"

	"github.com/spf13/cobra"
)

// Exit statuses. They are part of what scripts rely on.
const (
	exitDone           = 0
	exitFailed         = 1
	exitInput          = 2 // wrong usage or input
	exitOutOfTolerance = 3
	exitCannotTell     = 4
)

// env is what every command is given: where to write, and the flags that all
// commands share.
type env struct {
	stdout io.Writer
	stderr io.Writer
	json   bool
	shop   string         // --shop as given
	asked  profiles.Units // --units; "" where it was not given
	units  profiles.Units // in which lengths are told; see shopHere and readOrder
	force  bool           // --force, of commands that write files
}

// writes adds the flag of commands that write files where the user says.
func (e *env) writes(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&e.force, "force", false, "replace a file that is there; what belongs to a shop is never replaced")
}

// writeFile writes a file where the user says. See shop.WriteFile.
func (e *env) writeFile(path string, write func(io.Writer) error) error {
	s, err := e.shopHere()
	if err != nil {
		return err
	}
	err = s.WriteFile(path, e.force, write)
	if errors.As(err, new(*pdf.LettersError)) {
		return withHint(badInput("%s: %w", path, err), "name a file that ends in .html or .svg: a browser prints it")
	}
	return err
}

// note prints a line for the person at the bench, out of the way of results. As in all
// that is printed for people, lengths that a sentence has in mm are told in e.units.
func (e *env) note(format string, args ...any) {
	fmt.Fprintln(e.stderr, e.units.Text(profiles.Sprintf(format, args...)))
}

// warn prints warnings, one a line.
func (e *env) warn(warnings []string) {
	for _, w := range warnings {
		fmt.Fprintf(e.stderr, "warning: %s\n", e.units.Text(e.units.Keys(w)))
	}
}

// print writes a line of the result.
func (e *env) print(format string, args ...any) {
	fmt.Fprintln(e.stdout, e.units.Text(profiles.Sprintf(format, args...)))
}

// exit is how a command that worked says that the answer is not "yes". What the user
// got wrong is an error with words: see badInput.
type exit struct{ status int }

func (x exit) Error() string { return fmt.Sprintf("exit status %d", x.status) }

// inputError marks an error as the user's input, not the program's failure.
type inputError struct{ err error }

func (e *inputError) Error() string { return e.err.Error() }
func (e *inputError) Unwrap() error { return e.err }

// badInput returns an error that exits with status 2.
func badInput(format string, args ...any) error {
	return &inputError{fmt.Errorf(format, args...)}
}

// hinted is an error with advice on what to try.
type hinted struct {
	err   error
	hints []string
}

func (h *hinted) Error() string { return h.err.Error() }
func (h *hinted) Unwrap() error { return h.err }

// withHint adds advice to an error; a nil error stays nil.
func withHint(err error, hints ...string) error {
	if err == nil {
		return nil
	}
	return &hinted{err, hints}
}

// required marks flags that a command cannot do without.
func required(cmd *cobra.Command, names ...string) {
	for _, name := range names {
		if err := cmd.MarkFlagRequired(name); err != nil {
			panic(err) // the command has no such flag: a slip in its code
		}
	}
}

// atLeastOne refuses a number below 1 that a flag was given. Left out, the flag is 0 and
// means its default; 0 itself would be taken for that.
func atLeastOne(cmd *cobra.Command, names ...string) error {
	for _, name := range names {
		f := cmd.Flags().Lookup(name)
		if n, err := strconv.Atoi(f.Value.String()); f.Changed && (err != nil || n < 1) {
			return badInput("--%s: expected 1 or more, got %s", name, f.Value)
		}
	}
	return nil
}

// unitsFlag is the flag --units; "" is none.
type unitsFlag profiles.Units

func (f *unitsFlag) String() string { return string(*f) }

func (f *unitsFlag) Type() string { return "unit" }

func (f *unitsFlag) Set(text string) (err error) {
	u, err := profiles.OneOf(text, profiles.AllUnits())
	*f = unitsFlag(u)
	return err
}

// lengthFlag is a length in mm; it may be given with a unit of its own, as 0.02in. 0 is
// none.
type lengthFlag float64

func (f *lengthFlag) String() string {
	if *f == 0 {
		return "" // help then names no default
	}
	return strconv.FormatFloat(float64(*f), 'g', -1, 64)
}

func (f *lengthFlag) Type() string { return "mm" }

func (f *lengthFlag) Set(text string) error {
	mm, err := profiles.Millimetres.Read(text)
	*f = lengthFlag(mm)
	return err
}

// svgFlag gives a command its flag --svg, which takes no file by the name of another
// kind of picture.
func svgFlag(cmd *cobra.Command, path *string, usage string) {
	cmd.Flags().Var((*svgFile)(path), "svg", usage)
}

// svgFile is the name of a picture to draw; "" is none.
type svgFile string

func (f *svgFile) String() string { return string(*f) }

func (f *svgFile) Type() string { return "file" }

func (f *svgFile) Set(path string) error {
	if path != "" && !strings.EqualFold(filepath.Ext(path), ".svg") {
		return fmt.Errorf("expected a file that ends in .svg")
	}
	*f = svgFile(path)
	return nil
}

// version says which build this is: the module's version, or the revision.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	if v := info.Main.Version; v != "" && v != "(devel)" {
		return v
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			return s.Value[:min(12, len(s.Value))]
		}
	}
	return release
}

// release is the version under which CHANGELOG.md lists this source.
const release = "0.1.0"
