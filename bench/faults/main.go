// Command faults measures how often "evenpole check" names the fault that was
// made in a simulated pickup on purpose, and how often it cries wolf over pickups
// without one.
//
// A shop of the simulated jig's physics, bent a little from shop to shop, captures
// test pickups and fits its model; then it builds one pickup after the other, each
// with a fault. Of causes that look alike in what was measured, all are named: a
// fault counts as named when it is among them, and as first when it stands first.
//
// Run it at the top of the repository; it takes a minute:
//
//	go run ./bench/faults [-shops N] [-seed N] [-v]
package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"slices"

	"evenpole/fit/verdict"
)

func main() {
	shops := flag.Int("shops", 40, "shops that are tried")
	seed := flag.Uint64("seed", 1, "of the first shop")
	verbose := flag.Bool("v", false, "list what was not named")
	flag.Parse()
	log := io.Discard
	if *verbose {
		log = os.Stdout
	}
	if err := run(os.Stdout, log, *seed, *shops); err != nil {
		fmt.Fprintln(os.Stderr, "faults:", err)
		os.Exit(1)
	}
}

// tally counts what came of one fault.
type tally struct {
	made, named, first int
	listed             int // causes that were named where the fault was among them
}

// measure tries every fault in a number of shops.
func measure(log io.Writer, seed uint64, shops int) (map[string]*tally, error) {
	out := map[string]*tally{}
	for k := range shops {
		s, err := newShop(seed + uint64(k))
		if err != nil {
			return nil, err
		}
		for _, f := range faults {
			t := out[f.name]
			if t == nil {
				t = &tally{}
				out[f.name] = t
			}
			if err := t.try(log, s, &f); err != nil {
				return nil, err
			}
		}
	}
	return out, nil
}

// try builds a pickup with the fault and has it checked.
func (t *tally) try(log io.Writer, s *workshop, f *fault) error {
	p := s.build()
	strings, ok := f.make(p)
	if !ok {
		return nil
	}
	d, err := s.check(p, f.probed)
	if err != nil {
		return err
	}
	t.made++
	at := slices.IndexFunc(d.Causes, func(c verdict.Cause) bool { return f.is(&c, strings) })
	switch {
	case f.kind == "" && len(d.Causes) == 0, at == 0:
		t.first++
		fallthrough
	case at > 0:
		t.named++
		t.listed += len(d.Causes)
		return nil
	}
	fmt.Fprintf(log, "seed %d: %s of %v\n", s.seed, f.name, strings)
	for _, c := range d.Causes {
		fmt.Fprintf(log, "   instead: %.1f %s (%+.1f dB)\n", float64(c.Evidence), c.Text, float64(c.Off))
	}
	return nil
}

func run(w, log io.Writer, seed uint64, shops int) error {
	all, err := measure(log, seed, shops)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "%-48s  made  named  first  causes named with it\n", "fault")
	for _, f := range faults {
		t := all[f.name]
		fmt.Fprintf(w, "%-48s  %4d  %4.0f%%  %4.0f%%  %.1f\n", f.name, t.made, percent(t.named, t.made), percent(t.first, t.made), float64(t.listed)/float64(max(t.named, 1)))
	}
	return nil
}

func percent(n, of int) float64 { return 100 * float64(n) / float64(max(of, 1)) }
