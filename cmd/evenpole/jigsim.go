package main

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"time"

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

	wrong      workshop.Faults
	weak, pole []string
	worn       []string
	practice   sim.Practice
	firstDay   string
}

func newJigSimCmd(e *env) *cobra.Command {
	o := simOptions{}
	cmd := &cobra.Command{
		Use:   "sim [--mount MOUNT]",
		Short: "Run a simulated jig on a pseudo-terminal",
		Long: `Runs a simulated jig until Ctrl-C and prints the path of its port, for 'evenpole
capture --port', for firmware writers and for trying things out. It follows the
same line protocol as a real jig; see firmware-notes. Chances are for each line.

It can be practised on. What is on it may be otherwise than the mount says: a weak
magnet (--weak 4=40, by 40 %), one with the other side up (--reversed 2), two in each
other's place (--swapped 2,3), a pole at another height (--pole 4=-0.7, mm lower): capture
with that mount, and see what 'evenpole check' and 'evenpole batch' find. With --remount
every capture mounts the pickup anew, a little off in height; --hands Bo,Ida mount in
turns, each in a way of their own, and 'evenpole repeat' tells how much that is. With
--first-day days pass, each after --mountings-a-day, hands take turns by the day, and
--drift-db is what the level drifts a day, for 'evenpole drift'. Rows are dated by the
jig's days then. --worn 3=2 is a plectrum
whose takes scatter twice as much, for 'evenpole capture --until'.`,
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
	f.DurationVar(&o.faults.Mute, "mute", 0, "fall silent for this long, a `duration` such as 5s in the jig's own time, where --mute-after says (0: for good)")
	f.DurationVar(&o.faults.SlowAnswer, "slow-answer", 0, "answer later by this `duration`, such as 300ms, in the jig's own time")
	f.Float64Var(&o.faults.OldAnswer, "old-answer", 0, "`chance` of the answer before to come once more")
	f.BoolVar(&o.faults.NoResend, "no-resend", false, "refuse RESEND")
	f.StringSliceVar(&o.weak, "weak", nil, "`STRING=PERCENT`: that magnet is so much weaker (repeatable)")
	f.IntSliceVar(&o.wrong.Reversed, "reversed", nil, "magnets of these `strings` have the other side up")
	f.IntSliceVar(&o.wrong.Swapped, "swapped", nil, "magnets of these two `strings` are in each other's place")
	f.StringSliceVar(&o.pole, "pole", nil, "`STRING=MM`, or as 4=-0.03in: that pole stands so much higher than the mount says, below 0 lower (repeatable)")
	f.StringSliceVar(&o.worn, "worn", nil, "`STRING=TIMES`: takes of that string scatter so much more (repeatable)")
	f.BoolVar(&o.practice.Remount, "remount", false, "mount anew for every capture")
	f.StringSliceVar(&o.practice.Hands, "hands", nil, "`names` of who mounts, in turns; with --remount")
	f.StringVar(&o.firstDay, "first-day", "", "`day` of the first mounting, such as 2026-03-02; with --remount")
	f.IntVar(&o.practice.PerDay, "mountings-a-day", 1, "after so many `mountings` a day has passed")
	f.Float64Var(&o.practice.Drift, "drift-db", 0, "all levels drift by so many `dB` a day")
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
	scatter, err := o.practise(e)
	if err != nil {
		return err
	}
	mounted, err := o.mounted(e)
	if err != nil {
		return err
	}
	boot := jig.Boot(rand.Uint32()) // new at every power-up, whatever the seed: a record knows readings by it
	j := sim.New(sim.Config{Seed: o.seed, Boot: boot, Speed: o.speed, Excite: jig.Excite(o.excite), Scatter: &scatter, Practice: o.practice, Faults: o.faults})
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

// mounted is what is on the jig, with what is wrong with it.
func (o *simOptions) mounted(e *env) (m sim.Mounted, err error) {
	s, err := e.shopHere()
	if err != nil {
		return m, err
	}
	var mount *profiles.Mount
	if o.mount == "" {
		mount, err = s.ParseMount("built in", workshop.FlatMount)
	} else {
		mount, err = s.ReadMount(o.mount)
	}
	if err != nil {
		return m, err
	}
	if m, err = workshop.Mounted(mount, o.seed); err != nil {
		return m, err
	}
	if err := o.wrong.Apply(&m); err != nil {
		return m, badInput("%w", err)
	}
	return m, nil
}

// practise reads what shall happen on the bench.
func (o *simOptions) practise(e *env) (scatter sim.Scatter, err error) {
	scatter = sim.Ordinary()
	number := func(text string) (float64, error) { return strconv.ParseFloat(text, 64) }
	for _, f := range []struct {
		name  string
		texts []string
		read  func(string) (float64, error)
		to    *map[int]float64
	}{{"weak", o.weak, number, &o.wrong.Weak}, {"pole", o.pole, profiles.Millimetres.Read, &o.wrong.Poles}, {"worn", o.worn, number, &scatter.Worn}} {
		if *f.to, err = numbersByString(f.name, f.texts, f.read); err != nil {
			return scatter, err
		}
	}
	p := &o.practice
	if p.FirstDay, err = dayFlag("first-day", o.firstDay); err != nil {
		return scatter, err
	}
	if !p.Remount && (len(p.Hands) > 0 || !p.FirstDay.IsZero()) {
		return scatter, badInput("hands and first-day: expected --remount with them, as it is mountings that they are of")
	}
	if p.Drift != 0 && p.FirstDay.IsZero() {
		return scatter, badInput("drift-db: expected --first-day with it, as it is days that the level drifts over")
	}
	if p.PerDay < 1 {
		return scatter, badInput("mountings-a-day: expected 1 or more, got %d", p.PerDay)
	}
	p.Told = func(m sim.Mounting) {
		if p.Remount {
			e.note("mounting %d%s%s", m.Number, ifAny(" by ", m.Hand), onDay(m.Day))
		}
	}
	return scatter, nil
}

// numbersByString reads STRING=NUMBER flags.
func numbersByString(flag string, texts []string, read func(string) (float64, error)) (map[int]float64, error) {
	all := map[int]float64{}
	for _, text := range texts {
		name, value, _ := strings.Cut(text, "=")
		i, errI := strconv.Atoi(strings.TrimSpace(name))
		x, errX := read(strings.TrimSpace(value))
		if errI != nil || errX != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			return nil, badInput("%s: expected a string and a number such as 4=40, got %q", flag, text)
		}
		all[i] = x
	}
	return all, nil
}

func onDay(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return " on " + day(t)
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
