package main

import (
	"context"
	"io"

	"evenpole/profiles"
	"evenpole/share"
	"evenpole/shop"

	"github.com/spf13/cobra"
)

type shareExportOptions struct {
	out    string
	fields bool
	there  bool
}

func newShareExportCmd(e *env) *cobra.Command {
	var o shareExportOptions
	cmd := &cobra.Command{
		Use:   "export --out FILE [--fields]",
		Short: "Write the readings of all benches to one file",
		Long: `Writes the rows of all benches to one CSV file, with the names that they have in the
shared record: a session is BENCH/SESSION, and what is kept apart has its bench's name
after an @. 'evenpole fit --readings FILE' fits it as 'evenpole fit --shared' does, with
--fields for the field readings that --fields writes here; but for calibrations, which
stand beside a record.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runShareExport(cmd.Context(), e, o) },
	}
	cmd.Flags().StringVar(&o.out, "out", "", "`file` to write")
	cmd.Flags().BoolVar(&o.fields, "fields", false, "write the field readings instead")
	cmd.Flags().BoolVar(&o.there, "there", false, "read the shared record itself, not what was pulled of it")
	e.writes(cmd)
	required(cmd, "out")
	return cmd
}

func runShareExport(ctx context.Context, e *env, o shareExportOptions) error {
	view, done, err := e.sharedView(ctx, o.there)
	if err != nil {
		return err
	}
	defer done()
	rows := 0
	err = e.writeFile(o.out, func(to io.Writer) (err error) {
		rows, err = view.Export(ctx, to, recordFile(o.fields))
		return err
	})
	if err != nil {
		return err
	}
	e.warn(view.Notes)
	e.print("%s of %s written to %s", profiles.Count(rows, "row"), profiles.Listed(view.Benches()), o.out)
	return nil
}

// sharedView is the record of all benches, as it was pulled or, there, as the shared record
// has it. done lets go of it.
func (e *env) sharedView(ctx context.Context, there bool) (v *share.View, done func(), err error) {
	if there {
		_, c, err := e.joined(ctx)
		if err != nil {
			return nil, nil, err
		}
		return share.Streamed(ctx, c)
	}
	_, b, err := e.bench()
	if err != nil {
		return nil, nil, err
	}
	v, err = b.View(ctx)
	return v, func() {}, err
}

// sharedFlag is the flag --shared of commands that can read the record of all benches: "" is
// that of this shop alone.
type sharedFlag string

const (
	sharedHere  = "here"  // as it was pulled
	sharedThere = "there" // as the shared record has it now
)

func (f *sharedFlag) String() string { return string(*f) }

func (f *sharedFlag) Type() string { return "here|there" }

func (f *sharedFlag) Set(text string) error {
	word, err := profiles.OneOf(text, []string{sharedHere, sharedThere})
	*f = sharedFlag(word)
	return err
}

func sharedFlagOf(cmd *cobra.Command, f *sharedFlag) {
	cmd.Flags().Var(f, "shared", "the readings of all benches: as they were pulled, or with =there from the shared record itself")
	cmd.Flags().Lookup("shared").NoOptDefVal = sharedHere
}

// sharedSource is the readings of all benches, which are let go of with done, after what
// there is to say of them.
func (e *env) sharedSource(ctx context.Context, from sharedFlag) (src shop.Source, v *share.View, done func(), err error) {
	type result struct {
		source shop.Source
		view   *share.View
		done   func()
	}
	r, err := late(ctx, e, func(ctx context.Context) (r result, err error) {
		if r.view, r.done, err = e.sharedView(ctx, from == sharedThere); err != nil {
			return r, err
		}
		if r.source, err = r.view.Source(); err != nil {
			r.done()
		}
		return r, err
	})
	if err != nil {
		return src, nil, nil, err
	}
	e.warn(r.view.Notes)
	if n := len(r.view.Clashes); n > 0 {
		e.note("note: kept apart, as benches may use them for different things: %s; see 'evenpole share status'", profiles.Count(n, "name"))
	}
	return r.source, r.view, r.done, nil
}
