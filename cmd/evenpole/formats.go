package main

import (
	"cmp"
	"context"
	"io"
	"slices"
	"strings"

	"evenpole/profiles"
	"evenpole/shop"

	"github.com/spf13/cobra"
)

// newOrderCmd and newMountCmd are what orders and mounts are, and new ones to fill in.
func newOrderCmd(e *env) *cobra.Command {
	return newFormatCmd(e, profiles.OrderFormat, "What an order says, key by key; a new one to fill in")
}

func newMountCmd(e *env) *cobra.Command {
	return newFormatCmd(e, profiles.MountFormat, "What a mount says, key by key; a new one to fill in")
}

func newFormatCmd(e *env, f *profiles.Format, short string) *cobra.Command {
	cmd := &cobra.Command{
		Use:   f.Name,
		Short: short,
		Long:  formatHelp(f),
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			return withHint(badInput("expected new"), "'evenpole "+f.Name+" new FILE' writes one to fill in; 'evenpole help "+f.Name+"' says what each key is")
		},
	}
	cmd.AddCommand(newNewCmd(e, f))
	cmd.Long += "\n\n" + samplesHelp(f)
	return cmd
}

// samplesHelp shows files for pickups of other kinds.
func samplesHelp(f *profiles.Format) string {
	var b strings.Builder
	b.WriteString("Other pickups ('" + f.Name + " new --kind " + strings.Join(f.SampleNames(), "|") + "' writes these):\n")
	for _, s := range f.Samples() {
		b.WriteString("\n")
		for line := range strings.Lines(s.Text) {
			b.WriteString("    " + line)
		}
	}
	return strings.TrimRight(b.String(), "\n")
}

// newOptions say what a new file begins with.
type newOptions struct{ kind, session string }

func newNewCmd(e *env, f *profiles.Format) *cobra.Command {
	var o newOptions
	cmd := &cobra.Command{
		Use:   "new [FILE]",
		Short: "Write a commented file to fill in",
		Long: `Writes a file with every key, what it is for and what it takes, to fill in; without
FILE, to standard output. Lengths are in mm, or with --units in or in a shop of inches in
inches. One that is in the shop's orders or jig folder is never
replaced, any other only with --force.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return runNew(cmd.Context(), e, f, o, args) },
	}
	cmd.Flags().StringVar(&o.kind, "kind", "", "a short file for this `kind` of pickup: "+profiles.Choice(f.SampleNames()))
	if f == profiles.MountFormat {
		cmd.Long += `

With --session it is what the record has of the mount of a session: to correct, and file
the session anew by 'evenpole record amend'.`
		cmd.Flags().StringVar(&o.session, "session", "", "the mount of this `session`, as the record has it")
	}
	e.writes(cmd)
	return cmd
}

// newFileDocument is what --json prints of a new file.
type newFileDocument struct {
	File string `json:"file"`
}

var newFileJSON = newDocument[newFileDocument]()

func runNew(ctx context.Context, e *env, f *profiles.Format, o newOptions, args []string) error {
	s, err := e.shopHere()
	if err != nil {
		return err
	}
	units := cmp.Or(e.units, profiles.Millimetres)
	write := func(w io.Writer) error { return f.WriteNew(w, units) }
	if o != (newOptions{}) {
		text, err := o.text(ctx, s, f, units)
		if err != nil {
			return err
		}
		write = func(w io.Writer) error {
			_, err := io.WriteString(w, text)
			return err
		}
	}
	if len(args) == 0 {
		if e.json {
			return badInput("the file is TOML: with --json, name one for it")
		}
		return write(e.stdout)
	}
	if err := s.WriteDescription(args[0], e.force, write); err != nil {
		return err
	}
	if e.json {
		return newFileJSON.write(e, newFileDocument{args[0]})
	}
	e.print("written to %s", args[0])
	return nil
}

// text is that of a file that is not every key.
func (o newOptions) text(ctx context.Context, s *shop.Shop, f *profiles.Format, u profiles.Units) (string, error) {
	switch {
	case o.session != "" && o.kind != "":
		return "", badInput("expected one of --kind and --session")
	case o.session != "":
		return s.MountText(ctx, o.session)
	}
	name, err := profiles.OneOf(o.kind, f.SampleNames())
	if err != nil {
		return "", badInput("--kind: %v", err)
	}
	return f.Samples()[slices.Index(f.SampleNames(), name)].In(u), nil
}

// formatHelp is the help on a kind of file: its keys, and a short one.
func formatHelp(f *profiles.Format) string {
	var b strings.Builder
	b.WriteString(keysHelp(f))
	b.WriteString("\nFor example:\n\n")
	var example strings.Builder
	if err := f.WriteExample(&example, profiles.Millimetres); err != nil {
		panic(err) // a strings.Builder takes all
	}
	for line := range strings.Lines(strings.TrimLeft(example.String(), "\n")) {
		if line != "\n" {
			line = "    " + line
		}
		b.WriteString(line)
	}
	return strings.TrimRight(b.String(), "\n")
}

func keysHelp(f *profiles.Format) string {
	var b strings.Builder
	if err := f.Write(&b); err != nil {
		panic(err) // a strings.Builder takes all
	}
	return b.String()
}

// newBatchesTopic and newShopTopic are help on files that no command is about.
func newBatchesTopic() *cobra.Command {
	return &cobra.Command{Use: "batches", Short: "What batches.toml says of the magnets that were ordered", Long: formatHelp(profiles.BatchesFormat)}
}

func newShopTopic() *cobra.Command {
	return &cobra.Command{Use: "shop", Short: "What is in a shop's folder, and what shop.toml says", Long: shopHelp + "\n" + formatHelp(profiles.ShopFormat)}
}

const shopHelp = `The shop is the folder that holds the record. Everything in it is a plain file:

  readings.csv, fields.csv   the record; rows are only ever added
  readings.seals.csv, ...    a digest of each row since it was written: 'record verify'
  sessions.csv, mounts/      which capture commanded what, and what was mounted
  shop.toml                  yours: the shop itself, below
  strings.toml               yours: string sets; see 'evenpole help strings'
  batches.toml               yours: magnets ordered; see 'evenpole help batches'
  operators.csv              yours: who made which session, for 'repeat'
  orders/, jig/              yours: orders and mounts, which may stand anywhere
  models/                    fitted models, which never change; current.txt names the one in use
  certificates/              certificates as 'check' issued them, numbered
  calibrations/              the jig's gain, one file each time it was measured
  plans/, pictures/          what was drawn
  shared/                    how the shop shares, and what other benches added
  readings.cells, readings.found
                             what fits of a long record keep for the next; delete them whenever you like
  writer.lock, writer.open   who is writing
  readings.torn-TIME.csv     a last line that a power cut tore, set aside; and of other files likewise

Commands find the shop from the current folder upwards, or with --shop. A folder is one
once it holds any of readings.csv, fields.csv, sessions.csv, shop.toml, strings.toml or
batches.toml.
`
