package main

import (
	"context"

	"evenpole/capture/record/disk"
	"evenpole/share/postgres"

	"github.com/spf13/cobra"
)

// What the owner of a shared record does.

func newShareInitCmd(e *env) *cobra.Command {
	dir := ""
	cmd := &cobra.Command{
		Use:   "init [--folder DIR]",
		Short: "Make a shared record ready: a database's schema and roles, or a folder",
		Long: `Makes the schema evenpole in the database, its tables and roles, or brings those of an
earlier version up to date: run it again after each update of the program. The role that
runs it becomes the owner; it must be allowed to create schemas and roles. What is there
is never lost, and a bench can share while it runs.

The role evenpole_bench may read and append, and nothing else: the database itself
refuses to change, delete or truncate what was shared, also to the owner. 'share admit'
gives a bench a role of its own, which appends under that bench's name alone.

With --folder it makes a folder for a shared record, where no server is wanted. A folder
knows no roles: who can write to it can delete from it, which the benches find.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runShareInit(cmd.Context(), e, dir) },
	}
	cmd.Flags().StringVar(&dir, "folder", "", "make this `folder` instead")
	return cmd
}

// shareInitDocument is what --json prints of a record that was made ready.
type shareInitDocument struct {
	Folder string `json:"folder,omitempty"`
	From   int    `json:"from_version"`
	To     int    `json:"to_version"`
}

var shareInitJSON = newDocument[shareInitDocument]()

func runShareInit(ctx context.Context, e *env, dir string) error {
	d := shareInitDocument{Folder: dir}
	var err error
	if dir != "" {
		err = disk.MakeDir(dir)
	} else {
		err = e.asOwner(ctx, func(o *postgres.Owner) (err error) {
			d.From, d.To, err = o.Init(ctx)
			return err
		})
	}
	switch {
	case err != nil:
		return err
	case e.json:
		return shareInitJSON.write(e, d)
	case dir != "":
		e.print("%s is ready: 'evenpole share --bench NAME --folder %s' joins a shop", dir, dir)
	case d.From == d.To:
		e.print("the schema is up to date: version %d", d.To)
	default:
		e.print("the schema went from version %d to %d", d.From, d.To)
		e.note("hint: 'evenpole share admit BENCH' gives a bench its role")
	}
	return nil
}

// asOwner does something in the database as its owner.
func (e *env) asOwner(ctx context.Context, do func(*postgres.Owner) error) error {
	s, err := e.shopHere()
	if err != nil {
		return err
	}
	o, err := postgres.OpenOwner(ctx, connectionOf(s))
	if err != nil {
		return err
	}
	defer o.Close()
	return do(o)
}

func newShareAdmitCmd(e *env) *cobra.Command {
	role := ""
	cmd := &cobra.Command{
		Use:   "admit BENCH [--role ROLE]",
		Short: "Admit a bench to the shared database",
		Long: `Lets a role of the database append under a bench's name, and read. A role that is not
there yet is made, with the right to log in and without a password: set one with psql's
\password, or let it log in by a certificate. The owner runs it.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			err := e.asOwner(cmd.Context(), func(o *postgres.Owner) error { return o.Admit(cmd.Context(), args[0], role) })
			if err == nil {
				e.print("bench %s is admitted", args[0])
			}
			return err
		},
	}
	cmd.Flags().StringVar(&role, "role", "", "the bench's `role` (default: evenpole_BENCH)")
	return cmd
}

func newShareCloseCmd(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "close BENCH",
		Short: "Close a bench out of the shared database",
		Long: `From then on the database takes nothing more from the bench. What it shared stays, and
it may read on: take its role's right to log in away to end that, too. The owner runs it;
'share admit' admits the bench again.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			err := e.asOwner(cmd.Context(), func(o *postgres.Owner) error { return o.CloseOut(cmd.Context(), args[0]) })
			if err == nil {
				e.print("bench %s is closed out", args[0])
			}
			return err
		},
	}
}
