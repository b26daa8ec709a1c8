package main

import (
	"time"

	"evenpole/capture/record"
	"evenpole/profiles"

	"github.com/spf13/cobra"
)

type amendOptions struct {
	session, mount, reason string
}

func newAmendCmd(e *env) *cobra.Command {
	var o amendOptions
	cmd := &cobra.Command{
		Use:   "amend --session SESSION --mount MOUNT [--reason TEXT]",
		Short: "File a session anew with what was really on the jig",
		Long: `Files the readings of a session anew, where its mount file was wrong: heights,
strings, magnets, or the pickup's name. Correct the mount file, then name it here.
Of each reading that says otherwise the old row is taken back, with the reason, and
the same reading stands again with what the mount now says: under the same jig, boot
and seq, with its own time and level. The session goes on as one of this mount.

Nothing is added unless all of it can be. The same command finishes what was cut
short, and adds nothing to what is done. A session of a spreadsheet can be filed
anew as well, if all its rows are of one mounting.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return runAmend(e, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.session, "session", "", "the `session`, as in readings.csv")
	f.StringVar(&o.mount, "mount", "", "mount `file`: what was on the jig")
	f.StringVar(&o.reason, "reason", "", "why: goes into the note of the rows that were wrong")
	required(cmd, "session", "mount")
	return cmd
}

var amendmentJSON = newDocument[record.Amendment]()

func runAmend(e *env, o amendOptions) error {
	s, err := e.theShop()
	if err != nil {
		return err
	}
	mount, err := s.ReadMount(o.mount)
	if err != nil {
		return err
	}
	a := record.Amending{Session: o.session, Mount: mount, Reason: o.reason}
	if err := a.Check(s.Dir()); err != nil { // before a lock is taken for nothing
		return err
	}
	others, err := s.SameMount(o.session)
	if err != nil {
		return err
	}
	return e.withWriter(func(w *record.Writer) error {
		done, err := w.Amend(a, time.Now())
		if err != nil {
			return err
		}
		if e.json {
			return amendmentJSON.write(e, done)
		}
		if done.Readings+done.Fields == 0 {
			e.print("session %q says that already: nothing to amend", o.session)
			return nil
		}
		e.print("session %q: %s and %s filed anew with what %s says", o.session, profiles.Count(done.Readings, "reading"), profiles.Count(done.Fields, "field reading"), o.mount)
		if done.Unchanged > 0 {
			e.print("  %d said so already", done.Unchanged)
		}
		if len(others) > 0 {
			e.note("hint: of the mount that was wrong are also %s: file them anew likewise, where it was wrong in them", profiles.Listed(others))
		}
		return nil
	})
}
