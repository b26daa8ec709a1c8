// Command line captures readings over a bad line, from the simulated jig and
// from the independent test jig, and counts what became of them.
//
//	go run ./bench/line [-readings 10000] [-bit 0.001] [-line 0.01]
//
// In both directions each bit is wrong by one chance, and each line is lost by
// another, and doubled by the same. It prints, for each jig, how many readings
// it made, how many of them the record lacks, has twice or has otherwise, and
// what the line cost. It fails unless these three are 0.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"text/tabwriter"
	"time"

	"evenpole/bench/truth"
	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/jig"
	"evenpole/jig/jigtest"
	"evenpole/jig/sim"
	"evenpole/profiles"
)

func main() {
	readings := flag.Int("readings", 10000, "how `many` to capture at least, of each jig")
	var w wire
	flag.Float64Var(&w.bit, "bit", 0.001, "`chance` of each bit to be wrong")
	flag.Float64Var(&w.line, "line", 0.01, "`chance` of each line to be lost, and to be doubled")
	flag.Uint64Var(&w.seed, "seed", 1, "`seed` of all that is drawn")
	flag.Parse()
	if err := run(os.Stdout, *readings, w); err != nil {
		fmt.Fprintln(os.Stderr, "line:", err)
		os.Exit(1)
	}
}

// wire is what the line does.
type wire struct {
	bit, line float64
	seed      uint64
}

// bench is a jig behind a wire.
type bench struct {
	name  string
	serve func(context.Context, io.ReadWriter) error
	log   func() truth.Log
}

func run(out io.Writer, readings int, w wire) error {
	fmt.Fprintf(out, "each bit wrong by %g, each line lost by %g and doubled by %g\n", w.bit, w.line, w.line)
	tw := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(tw, "jig\tmade\tlost\tdoubled\taltered\tgood lines\tbad lines\tasked again\tseconds\t")
	var failed []error
	for _, b := range []bench{simulated(w), independent(w)} {
		r, err := b.measure(readings)
		if err != nil {
			return fmt.Errorf("%s: %w", b.name, err)
		}
		fmt.Fprintf(tw, "%s\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%.0f\t\n", b.name, r.made, r.Missing, r.Doubled, r.Altered,
			r.line.Good, r.bad(), r.line.Resends, r.took.Seconds())
		if r.Counts != (truth.Counts{}) || r.made < readings {
			failed = append(failed, fmt.Errorf("%s: expected %d readings or more, each once in the record and unaltered", b.name, readings))
		}
	}
	return errors.Join(append(failed, tw.Flush())...)
}

// simulated is the simulated jig, a thousand times faster than a real one.
func simulated(w wire) bench {
	j := sim.New(sim.Config{Seed: w.seed, Speed: 1000, Faults: sim.Faults{BitError: w.bit, LoseLine: w.line, DoubleLine: w.line}})
	mounted := sim.Mounted{}
	for range mount().Strings {
		mounted.Poles = append(mounted.Poles, sim.Pole{Height: 1, Radius: 2.38, Length: 16.5, Remanence: 0.31})
		mounted.Strings = append(mounted.Strings, sim.String{Gauge: 0.43})
		mounted.StringHeights = append(mounted.StringHeights, 3)
	}
	j.Mount(mounted)
	return bench{"sim", j.Serve, func() truth.Log { return truth.OfSim(j) }}
}

// independent is the test jig, which shares no code with the program.
func independent(w wire) bench {
	cable := jigtest.Wire{FlipBit: w.bit, LoseLine: w.line, DoubleLine: w.line}
	j := jigtest.New(jigtest.Config{Seed: w.seed, ToHost: cable, ToJig: cable, StatusEvery: 5 * time.Millisecond})
	return bench{"jigtest", j.Serve, func() truth.Log { return truth.OfTest(j) }}
}

// result is what became of the readings.
type result struct {
	truth.Counts
	made int
	line jig.Stats
	took time.Duration
}

func (r *result) bad() (n int) {
	for _, k := range r.line.Bad {
		n += k
	}
	return n
}

// measure captures into a shop of its own and compares.
func (b bench) measure(readings int) (r result, err error) {
	began := time.Now()
	dir, err := os.MkdirTemp("", "line-")
	if err != nil {
		return r, err
	}
	defer os.RemoveAll(dir)
	if r.line, err = b.capture(dir, readings); err != nil {
		return r, err
	}
	rows, err := truth.Rows(dir)
	if err != nil {
		return r, err
	}
	log := b.log()
	r.Counts, r.made, r.took = log.Compare(rows), len(log), time.Since(began)
	return r, nil
}

// capture captures at least so many readings over a pseudo-terminal.
func (b bench) capture(dir string, readings int) (stats jig.Stats, err error) {
	term, err := jigtest.OpenTerminal()
	if err != nil {
		return stats, err
	}
	defer term.Close()
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan struct{})
	go func() {
		defer close(served)
		b.serve(ctx, term.Master) // how it ends shows in the capture
	}()
	defer func() { cancel(); <-served }()
	port, err := jig.Open(term.Path, 0)
	if err != nil {
		return stats, err
	}
	// These jigs are faster than real ones, and so is the host's patience.
	conn, err := jig.Attach(ctx, port, term.Path, jig.Options{Answer: 20 * time.Millisecond})
	if err != nil {
		return stats, err
	}
	defer conn.Close()
	shop, err := record.OpenWriter(dir)
	if err != nil {
		return stats, err
	}
	m := mount()
	_, err = capture.Run(ctx, shop, conn, capture.Options{Mount: m, Purpose: record.ForRepeat, Takes: (readings-1)/len(m.Strings) + 1})
	return conn.Stats(), errors.Join(err, shop.Close())
}

// mount is a pickup under six plain strings.
func mount() *profiles.Mount {
	m := &profiles.Mount{Pickup: "L-1", Batch: "line", Poles: "rod"}
	for range 6 {
		m.Strings = append(m.Strings, profiles.String{Gauge: 0.43, Core: 0.43, Wrap: "plain"})
		m.PoleHeights = append(m.PoleHeights, 1)
		m.StringHeights = append(m.StringHeights, 3)
	}
	return m
}
