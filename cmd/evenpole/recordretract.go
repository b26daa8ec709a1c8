package main

import (
	"time"

	"evenpole/capture/record"
	"evenpole/profiles"

	"github.com/spf13/cobra"
)

var retractionJSON = newDocument[record.Retraction]()

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
	t.Seq, t.File = uint32(max(o.seq, 0)), recordFile(o.fields)
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
		e.print("%v: taken back %s and %s", &target, profiles.Count(done.Readings, "reading"), profiles.Count(done.Fields, "field reading"))
		if done.Already > 0 {
			e.print("  %d had been taken back before", done.Already)
		}
		if done.Nameless > 0 {
			e.note("warning: %s without jig, boot and seq could not be taken back", profiles.Count(done.Nameless, "row"))
		}
		return nil
	})
}
