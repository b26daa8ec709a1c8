package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"evenpole/profiles"
	"evenpole/share"
	"evenpole/share/folder"
	"evenpole/share/postgres"
	"evenpole/shop"

	"github.com/spf13/cobra"
)

type shareOptions struct {
	bench  string
	folder string
}

func newShareCmd(e *env) *cobra.Command {
	var o shareOptions
	cmd := &cobra.Command{
		Use:   "share [--bench NAME [--folder DIR]]",
		Short: "Share the record with other benches: push what is new, pull what others added",
		Long: `Joins the shop to a shared record, the first time with --bench, its name among
benches; from then on, pushes what is new here and pulls what others added: readings,
fields, sessions, mounts, retractions, seals, calibrations, string sets and orders.
The shared record is in a PostgreSQL database, or with --folder in a folder: a stick
that goes from bench to bench, or a drive that is synchronised.

Cut it short whenever you like: the next one goes on where it stopped, and nothing
comes twice. The shop's own files are read and never written; what others added
stands in shared/benches/NAME, laid out as a shop. Without the network a shop is
whole. 'evenpole fit --shared' fits the record of all benches, 'evenpole repeat
--shared' compares their jigs.

A stick or a drive that is found elsewhere than before is named with --bench, as before,
and --folder. Where another shop has the name already, --bench gives this one another.

What benches call by one name (jigs, pickups, batches, string sets) is kept apart
until a person says with 'share same' or 'share apart' what it is: 'share status'
lists such names. A row that was altered, here or in the shared record, is found and
named; exit status 1 then.

The database is reached as libpq does: by PGHOST, PGDATABASE, PGUSER, PGSSLMODE and
the like, by PGSERVICE, or by the file shared/connection (mode 0600), which holds one
line such as "host=db.example dbname=shop user=north sslmode=verify-full". No flag
takes it, and nothing prints it. Its owner makes it ready with 'share init' and
'share admit'.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runShare(cmd.Context(), e, o) },
	}
	cmd.Flags().StringVar(&o.bench, "bench", "", "join under this `name`: letters a to z, digits, hyphens")
	cmd.Flags().StringVar(&o.folder, "folder", "", "join a shared record in this `folder`")
	cmd.AddCommand(newShareInitCmd(e), newShareStatusCmd(e), newShareVerifyCmd(e), newShareExportCmd(e),
		newShareWordCmd(e, share.Same, "Say that benches mean one thing by a name", "same"),
		newShareWordCmd(e, share.Apart, "Say that benches mean different things by a name", "apart"),
		newShareAdmitCmd(e), newShareCloseCmd(e))
	return cmd
}

// bench is the shop as a bench of the shared record that it joined.
func (e *env) bench() (*shop.Shop, *share.Bench, error) {
	s, err := e.theShop()
	if err != nil {
		return nil, nil, err
	}
	b, err := share.Of(s)
	if errors.Is(err, share.ErrNotJoined) {
		err = withHint(&inputError{err}, "'evenpole share --bench NAME' joins one, with --folder DIR in a folder")
	}
	return s, b, err
}

// joined is the bench that a shop is, and the shared record that it joined.
func (e *env) joined(ctx context.Context) (*share.Bench, share.Carrier, error) {
	s, b, err := e.bench()
	if err != nil {
		return nil, nil, err
	}
	c, err := carrierOf(ctx, s, b.Folder)
	return b, c, err
}

// askShared asks the shared record as the shop's bench, and tells when that takes long.
func askShared[T any](ctx context.Context, e *env, ask func(*share.Bench, context.Context, share.Carrier) (T, error)) (answer T, err error) {
	b, c, err := e.joined(ctx)
	if err != nil {
		return answer, err
	}
	defer c.Close()
	return late(ctx, e, func(ctx context.Context) (T, error) { return ask(b, ctx, c) })
}

// carrierOf is where a shared record is: in a folder, or a database for "".
func carrierOf(ctx context.Context, s *shop.Shop, dir string) (share.Carrier, error) {
	if dir != "" {
		f, err := folder.Open(dir)
		if err == nil {
			return f, nil
		}
		return nil, withHint(err, "is the stick in its place, or the drive there? 'evenpole share --bench NAME --folder DIR' says where it is now",
			"'evenpole share init --folder DIR' makes a new one")
	}
	d, err := postgres.Open(ctx, connectionOf(s))
	if err != nil {
		return nil, err
	}
	return d, nil
}

func connectionOf(s *shop.Shop) string {
	if s.Dir() == "" {
		return ""
	}
	return filepath.Join(s.Dir(), shop.SharedDir, share.ConnectionFile)
}

var reportJSON = newDocument[*share.Report]()

func runShare(ctx context.Context, e *env, o shareOptions) error {
	s, err := e.theShop()
	if err != nil {
		return err
	}
	if err := joinAs(ctx, s, o); err != nil {
		return err
	}
	r, err := askShared(ctx, e, (*share.Bench).Exchange)
	if err != nil {
		if r != nil && !e.json {
			tellMoved(e, r)
		}
		return withHint(err, divergedHint(err)...)
	}
	if e.json {
		err = reportJSON.write(e, r)
	} else {
		printMoved(e, r)
	}
	e.warn(r.Passed)
	if r.Held {
		e.note("note: a capture is at work, or was cut short: what it has not finished is pushed later")
	}
	return errors.Join(err, faulty(e, r.Faults))
}

// divergedHint says what to do about a shop that is not what was shared of it.
func divergedHint(err error) []string {
	var d *share.DivergedError
	switch {
	case !errors.As(err, &d):
		return nil
	case d.OtherShop():
		return []string{"'evenpole share --bench NAME' gives it another one"}
	}
	return []string{
		"where rows were altered or lost here, 'evenpole record verify' names them: put back what they said",
		"where this folder is another copy of the shop, which went on elsewhere, remove the folder 'shared' in it: then 'evenpole share --bench NAME' and where it shares joins it under a name of its own, and readings that both have count once",
	}
}

// joinAs has a shop join, where flags say so, once the shared record was seen. One that has
// joined already takes another name, or another folder, where it can.
func joinAs(ctx context.Context, s *shop.Shop, o shareOptions) error {
	switch {
	case o.bench == "" && o.folder == "":
		return nil
	case o.bench == "":
		return badInput("--folder wants --bench NAME, this shop's name among benches")
	}
	b, err := share.Of(s)
	if err != nil && !errors.Is(err, share.ErrNotJoined) {
		return err
	}
	switch {
	case o.folder != "":
		if o.folder, err = filepath.Abs(o.folder); err != nil {
			return err
		}
	case b != nil:
		o.folder = b.Folder
	}
	c, err := carrierOf(ctx, s, o.folder)
	if err != nil {
		return err
	}
	defer c.Close()
	if b != nil {
		return b.Move(ctx, c, o.bench, o.folder)
	}
	_, err = share.Join(s, o.bench, o.folder)
	return err
}

func printMoved(e *env, r *share.Report) {
	tellMoved(e, r)
	if len(r.Pushed)+len(r.Pulled) == 0 {
		e.print("nothing new, here or there")
	}
}

func tellMoved(e *env, r *share.Report) {
	tell := func(list []share.Moved, verb string) {
		for _, m := range list {
			e.print("%s %s of %s (%d in all)", verb, entriesOf(m.Stream, m.Entries), m.Bench, m.Of)
		}
	}
	tell(r.Pushed, "pushed")
	tell(r.Pulled, "pulled")
}

// entriesOf says how many entries of a stream: "2 readings", "1 reading", "1 seal of readings".
func entriesOf(stream share.Stream, n int64) string {
	of, seals := strings.CutSuffix(string(stream), ".seals")
	switch {
	case n != 1:
		return fmt.Sprintf("%d %s", n, stream)
	case seals:
		return "1 seal of " + of
	}
	return "1 " + strings.TrimSuffix(of, "s")
}

// faulty prints faults; with any the exit status is 1.
func faulty(e *env, faults []share.Fault) error {
	for _, f := range faults {
		e.note("fault: %s", f)
	}
	if len(faults) > 0 {
		return exit{exitFailed}
	}
	return nil
}

func newShareStatusCmd(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "status",
		Short: "Say what is ahead of the shared record and behind it, and which names are in question",
		Long: `Counts for each bench what is here and what is in the shared record: what waits to be
pushed is ahead, what waits to be pulled is behind. It lists the names that benches use
for what may be different things, with what tells; these are kept apart until a person
decides. Nothing is pushed or pulled.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runShareStatus(cmd.Context(), e) },
	}
}

var shareStatusJSON = newDocument[*share.Status]()

func runShareStatus(ctx context.Context, e *env) error {
	st, err := askShared(ctx, e, (*share.Bench).Status)
	if err != nil {
		return err
	}
	if e.json {
		return shareStatusJSON.write(e, st)
	}
	e.print("bench %s: %d ahead, %d behind", st.Bench, st.Ahead, st.Behind)
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(tw, "bench\twhat\there\tthere\tahead\tbehind\t")
	for _, s := range st.Streams {
		fmt.Fprintf(tw, "%s\t%s\t%d\t%d\t%d\t%d\t\n", s.Bench, s.Stream, s.Here, s.There, s.Ahead, s.Behind)
	}
	tw.Flush()
	if st.Held {
		e.note("note: a capture is at work, or was cut short: what it has not finished is not counted")
	}
	e.warn(st.Notes)
	printClashes(e, st.Clashes)
	return nil
}

// printClashes lists the names that a person has to decide on.
func printClashes(e *env, list []share.Clash) {
	for _, c := range list {
		e.print("%s %q of %s is kept apart: %s", c.Kind, c.Name, profiles.Listed(c.Benches), c.Evidence)
		e.note("hint: 'evenpole share same %s %q' if it is one, 'evenpole share apart %s %q' if not", c.Kind, c.Name, c.Kind, c.Name)
	}
}

func newShareVerifyCmd(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "verify",
		Short: "Read the whole shared record, and find what was altered in it",
		Long: `Reads all that benches shared, and compares each row with the chain of those before it,
with this shop's own record and with the copies that it pulled. Exit status 1: a row was
altered, or is gone.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runShareVerify(cmd.Context(), e) },
	}
}

var shareAuditJSON = newDocument[*share.Audit]()

func runShareVerify(ctx context.Context, e *env) error {
	a, err := askShared(ctx, e, (*share.Bench).Verify)
	if err != nil {
		return err
	}
	if e.json {
		err = shareAuditJSON.write(e, a)
	} else {
		e.print("%s of %s read: %s", profiles.Count(int(a.Entries), "entry"), profiles.Count(a.Benches, "bench"), profiles.Count(len(a.Faults), "fault"))
	}
	return errors.Join(err, faulty(e, a.Faults))
}

func newShareWordCmd(e *env, word share.Word, short, verb string) *cobra.Command {
	reason := ""
	cmd := &cobra.Command{
		Use:   verb + " KIND NAME [BENCH BENCH...]",
		Short: short,
		Long: short + `: KIND is jig, pickup, batch or set. Without benches
it is said of all that use the name. It goes to the other benches with the next share.
A word of a later day overrules an earlier one of the same bench; where benches do not
agree, things stay apart.`,
		Args: cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runShareWord(cmd.Context(), e, word, args, reason)
		},
	}
	cmd.Flags().StringVar(&reason, "reason", "", "`why`, for people")
	return cmd
}

func runShareWord(ctx context.Context, e *env, word share.Word, args []string, reason string) error {
	kind, err := share.ParseKind(args[0])
	if err != nil {
		return badInput("%w", err)
	}
	_, b, err := e.bench()
	if err != nil {
		return err
	}
	benches, err := b.Decide(ctx, kind, args[1], args[2:], word, reason)
	if err != nil {
		return err
	}
	e.print("%s %q of %s: %s", kind, args[1], strings.Join(benches, ", "), word)
	e.note("note: 'evenpole share' tells the other benches")
	return nil
}
