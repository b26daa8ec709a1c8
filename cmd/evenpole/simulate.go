package main

import (
	"context"
	"errors"
	"math/rand/v2"
	"strings"

	"evenpole/jig"
	"evenpole/jig/sim"
	"evenpole/profiles"
	"evenpole/shop/workshop"

	"github.com/spf13/cobra"
)

type simOptions struct {
	mount  string
	seed   uint64
	speed  float64
	excite string
	faults sim.Faults
}

func newJigSimCmd(e *env) *cobra.Command {
	o := simOptions{}
	cmd := &cobra.Command{
		Use:   "sim [--mount MOUNT]",
		Short: "Run a simulated jig on a pseudo-terminal",
		Long: `Runs a simulated jig until Ctrl-C and prints the path of its port, for 'evenpole
capture --port', for firmware writers and for trying things out. It follows the
same line protocol as a real jig; see firmware-notes. Chances are for each line.`,
		Args:        cobra.NoArgs,
		Annotations: map[string]string{endsItself: ""},
		RunE:        func(cmd *cobra.Command, _ []string) error { return runJigSim(cmd.Context(), e, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.mount, "mount", "", "mount `file`: what is on it (default: a flat test pickup under light strings)")
	f.Uint64Var(&o.seed, "seed", 1, "`seed` of all that is drawn, but for the boot")
	f.Float64Var(&o.speed, "speed", 1, "so many `times` faster than a real jig")
	f.StringVar(&o.excite, "excite", string(jig.Travel), "travel, force or drive")
	f.Float64Var(&o.faults.BitFlip, "bit-flip", 0, "`chance` of a wrong bit")
	f.Float64Var(&o.faults.BitError, "bit-error", 0, "`chance` of each bit to be wrong")
	f.Float64Var(&o.faults.LoseLine, "lose-line", 0, "`chance` of a lost line")
	f.Float64Var(&o.faults.DoubleLine, "double-line", 0, "`chance` of a doubled line")
	f.IntVar(&o.faults.RestartAfter, "restart-after", 0, "start again, once, after `N` readings")
	f.IntVar(&o.faults.CutAfter, "cut-after", 0, "start again, once, in the middle of reading `N`")
	f.IntVar(&o.faults.HangUpAfter, "hang-up-after", 0, "lose the port, once, after `N` readings, and come back on another")
	f.IntVar(&o.faults.JamAfter, "jam-after", 0, "jam, once, after `N` readings")
	f.IntVar(&o.faults.MuteAfter, "mute-after", 0, "fall silent after `N` readings")
	f.DurationVar(&o.faults.Mute, "mute", 0, "for so `long`, in the jig's own time (0: for good)")
	f.DurationVar(&o.faults.SlowAnswer, "slow-answer", 0, "answer so much `later`, in the jig's own time")
	f.Float64Var(&o.faults.OldAnswer, "old-answer", 0, "`chance` of the answer before to come once more")
	f.BoolVar(&o.faults.NoResend, "no-resend", false, "refuse RESEND")
	f.BoolVar(&o.faults.Garbage, "garbage", false, "send rubbish before the first line")
	return cmd
}

func runJigSim(ctx context.Context, e *env, o simOptions) error {
	if o.speed <= 0 {
		return badInput("speed: expected more than 0, got %g", o.speed)
	}
	switch jig.Excite(o.excite) {
	case jig.Travel, jig.Force, jig.Drive:
	default:
		return badInput("excite: expected travel, force or drive, got %q", o.excite)
	}
	s, err := e.shopHere()
	if err != nil {
		return err
	}
	var mount *profiles.Mount
	if o.mount == "" {
		mount, err = s.ParseMount("built in", workshop.FlatMount)
	} else {
		mount, err = s.ReadMount(o.mount)
	}
	if err != nil {
		return err
	}
	mounted, err := workshop.Mounted(mount, o.seed)
	if err != nil {
		return err
	}
	boot := jig.Boot(rand.Uint32()) // new at every power-up, whatever the seed: a record knows readings by it
	j := sim.New(sim.Config{Seed: o.seed, Boot: boot, Speed: o.speed, Excite: jig.Excite(o.excite), Faults: o.faults})
	j.Mount(mounted)
	for {
		if err := serveOnce(ctx, e, j); !errors.Is(err, sim.ErrHungUp) {
			if ctx.Err() != nil {
				return nil
			}
			return err
		}
		e.note("the port is lost, as asked")
	}
}

// serveOnce serves a simulated jig on one pseudo-terminal.
func serveOnce(ctx context.Context, e *env, j *sim.Jig) error {
	term, err := sim.Terminal()
	if err != nil {
		return err
	}
	defer term.Close()
	if term.Name == "" {
		return withHint(errors.New("this system has no pseudo-terminals for another program to open"), "'evenpole demo' simulates a jig within the program")
	}
	e.print("%s", term.Name)
	err = j.Serve(ctx, term.Port)
	if ctx.Err() != nil || err == nil || strings.Contains(err.Error(), "closed") {
		return ctx.Err()
	}
	return err
}
