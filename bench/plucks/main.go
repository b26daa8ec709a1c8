// Command plucks measures how well plucks are found in recordings: in strings made of
// their modes, with what goes wrong at a bench, and in the sampled strings of a sound font,
// played by fluidsynth (Debian: fluidsynth, fluid-soundfont-gm).
//
// Run it at the top of the repository; it takes a minute or two:
//
//	go run ./bench/plucks [-scenes N] [-seed N] [-font FILE] [-v]
//
// It prints for each kind of recording how many plucks there were, how many were found,
// how many that never were, how many were of the right string, and how far levels
// are from the true ones; and it fails where the worst is worse than what is promised:
// 99 of 100 found, none made up in silence, 99 of 100 of the right string, and 0.05 dB.
package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"strings"
)

func main() {
	var o options
	flag.IntVar(&o.scenes, "scenes", 8, "recordings of each kind")
	flag.Uint64Var(&o.seed, "seed", 1, "of the first recording")
	flag.StringVar(&o.font, "font", "/usr/share/sounds/sf2/FluidR3_GM.sf2", "sound font; none is read where it is not there")
	flag.StringVar(&o.only, "only", "", "only the rows whose names have this in them")
	flag.BoolVar(&o.verbose, "v", false, "list what was missed and what is wrong")
	flag.Parse()
	log := io.Discard
	if o.verbose {
		log = os.Stdout
	}
	if err := run(os.Stdout, log, o); err != nil {
		fmt.Fprintln(os.Stderr, "plucks:", err)
		os.Exit(1)
	}
}

type options struct {
	scenes  int
	seed    uint64
	font    string
	only    string
	verbose bool
}

// wanted reports whether a row was asked for.
func (o options) wanted(name string) bool { return strings.Contains(name, o.only) }

func run(w, log io.Writer, o options) error {
	fmt.Fprintln(w, header)
	kept := true
	row := func(name string, s *score) {
		fmt.Fprintln(w, s.row(name))
		kept = kept && s.kept()
	}
	for _, t := range tunings {
		if !o.wanted("modes, " + t.name) {
			continue
		}
		s := &score{log: log, hard: t.hard}
		for k := range o.scenes {
			if err := sceneOf(t, o.seed+uint64(k)).listen(s); err != nil {
				return err
			}
		}
		row("modes, "+t.name, s)
	}
	const quiet = "silence with hum, noise and knocks"
	if s := (&score{log: log}); o.wanted(quiet) {
		for k := range 4 * o.scenes {
			if err := silence(o.seed + uint64(k)).listen(s); err != nil {
				return err
			}
		}
		row(quiet, s)
	}
	if err := fontRows(row, log, o); err != nil {
		return err
	}
	if o.wanted("faults") {
		faultRows(w, o)
	}
	if !kept {
		return fmt.Errorf("less than what is promised")
	}
	return nil
}
