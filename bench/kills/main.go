// Command kills ends captures with SIGKILL at random instants and counts what
// became of the readings.
//
//	go run ./bench/kills [-kills 1000] [-within 500ms] [-bit-flip 0.02] [-program FILE]
//
// It builds the program, serves the simulated jig on a pseudo-terminal, and
// gives the same capture command again and again: each run is killed at a
// random instant unless it ends before, and a session that is complete is
// followed by that of another pickup. A reading is acknowledged once the
// program has printed "kept ...". It prints how many acknowledged readings the
// record lacks, how many readings it has twice, how many otherwise than the jig
// made them, and how many runs ended by themselves before their session was
// complete. It fails unless all of these are 0.
package main

import (
	"bufio"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"evenpole/bench/rig"
	"evenpole/bench/truth"
	"evenpole/jig/sim"
)

func main() {
	var o options
	flag.IntVar(&o.kills, "kills", 1000, "how `many`")
	flag.DurationVar(&o.within, "within", 500*time.Millisecond, "the `longest` that a run may live")
	flag.StringVar(&o.program, "program", "", "the program, as a `file` (default: built from ./cmd/evenpole)")
	flag.Uint64Var(&o.seed, "seed", 1, "`seed` of all that is drawn")
	flag.Float64Var(&o.faults.BitFlip, "bit-flip", 0, "`chance` of each line to have a wrong bit")
	flag.Parse()
	if err := run(os.Stdout, o); err != nil {
		fmt.Fprintln(os.Stderr, "kills:", err)
		os.Exit(1)
	}
}

type options struct {
	kills   int
	within  time.Duration
	program string
	seed    uint64
	faults  sim.Faults
}

// speed of the simulated jig: a capture takes some 0.6 s.
const speed = 200

func run(out io.Writer, o options) error {
	w, err := rig.Open(o.program, sim.Config{Seed: o.seed, Speed: speed, Faults: o.faults})
	if err != nil {
		return err
	}
	defer w.Close()

	b := &bench{options: o, Bench: w, random: rand.New(rand.NewPCG(o.seed, 1))}
	began := time.Now()
	if err := b.captures(); err != nil {
		return err
	}
	return b.report(out, truth.OfSim(w.Jig), time.Since(began))
}

// bench is a jig with the program, and what has come of them.
type bench struct {
	options
	*rig.Bench
	random *rand.Rand

	kept     []string // what was acknowledged, in order
	killed   int
	torn     int // last lines that a run found torn
	complete int // sessions
	unclean  int // runs that ended in an error by themselves
	errors   []string
}

func (b *bench) shop() string { return filepath.Join(b.Dir, "shop") }

// captures captures until there were kills enough, and then what is under way
// to its end.
func (b *bench) captures() error {
	for b.killed < b.kills {
		if err := b.capture(true); err != nil {
			return err
		}
	}
	for done := b.complete; b.complete == done && b.unclean == 0; {
		if err := b.capture(false); err != nil {
			return err
		}
	}
	return nil
}

// capture runs the program once and, if it is to, kills it.
func (b *bench) capture(kill bool) error {
	mount, err := b.WriteMount(fmt.Sprintf("K-%d", b.complete)) // of the session under way
	if err != nil {
		return err
	}
	words := b.Capture(b.shop(), b.Port, mount, "model", 4)
	cmd := exec.Command(words[0], words[1:]...)
	stderr, err := cmd.StderrPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	if kill {
		timer := time.AfterFunc(time.Duration(b.random.Int64N(int64(b.within))), func() { cmd.Process.Kill() })
		defer timer.Stop()
	}
	said := b.listen(stderr)
	switch err := cmd.Wait(); {
	case err == nil:
		b.complete++
	case cmd.ProcessState.ExitCode() == -1: // by the signal
		b.killed++
	default:
		b.unclean++
		b.errors = append(b.errors, said)
	}
	return nil
}

// listen notes what a run acknowledges, and returns the last thing that it says.
func (b *bench) listen(stderr io.Reader) (last string) {
	lines := bufio.NewReader(stderr)
	for {
		line, err := lines.ReadString('\n')
		if err != nil { // half a line was not printed
			return last
		}
		line = strings.TrimSuffix(line, "\n")
		switch {
		case strings.HasPrefix(line, "kept "):
			b.kept = append(b.kept, line)
		case strings.Contains(line, "torn"):
			b.torn++
		}
		if strings.HasPrefix(line, "evenpole: ") || last == "" {
			last = line
		}
	}
}

func (b *bench) report(out io.Writer, log truth.Log, took time.Duration) error {
	rows, err := truth.Rows(b.shop())
	if err != nil {
		return err
	}
	c, gone := log.Compare(rows), truth.Lost(b.kept, rows)
	fmt.Fprintf(out, "%d kills in %.0f s; %d sessions complete; %d readings made, %d in the record, %d acknowledged; %d torn lines set aside\n",
		b.killed, took.Seconds(), b.complete, len(log), len(rows), len(b.kept), b.torn)
	fmt.Fprintf(out, "acknowledged and lost  %d\ndoubled                %d\naltered                %d\nrestarts not clean     %d\nmade and not recorded  %d\n",
		gone, c.Doubled, c.Altered, b.unclean, c.Missing)
	for _, e := range b.errors[:min(3, len(b.errors))] {
		fmt.Fprintln(out, "  ", e)
	}
	if gone+b.unclean > 0 || c != (truth.Counts{}) || len(b.kept) == 0 {
		return errors.New("expected 0 of each, and some acknowledged")
	}
	return nil
}
