// Command slips measures how well the screening of a record finds mistakes that
// were made in simulated shops on purpose, and how often it cries wolf over
// records that have none.
//
// Run it at the top of the repository; it takes some minutes:
//
//	go run ./bench/slips [-shops N] [-seed N]
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"slices"
	"time"

	"evenpole/fit/screen"
	"evenpole/shop"
)

func main() {
	shops := flag.Int("shops", 100, "shops of each design")
	seed := flag.Uint64("seed", 1, "of the first shop")
	verbose := flag.Bool("v", false, "list what was missed and what was wrong")
	flag.Parse()
	log := io.Discard
	if *verbose {
		log = os.Stdout
	}
	if err := run(os.Stdout, log, *seed, *shops); err != nil {
		fmt.Fprintln(os.Stderr, "slips:", err)
		os.Exit(1)
	}
}

// designs are the shops that are tried.
var designs = []struct {
	name string
	design
}{
	{"one pickup, one string set", design{pickups: 1, sets: 1, takes: 8, copied: true}},
	{"one pickup, two string sets", design{pickups: 1, sets: 2, takes: 8}},
	{"4 pickups, two string sets, typed once", design{pickups: 4, sets: 2, high: 2, takes: 10, copied: true}},
	{"4 pickups, two string sets, measured anew", design{pickups: 4, sets: 2, high: 2, takes: 10}},
	{"10 pickups, two string sets, typed once", design{pickups: 10, sets: 2, high: 4, takes: 10, copied: true}},
	{"10 pickups, three string sets, measured anew", design{pickups: 10, sets: 3, high: 4, takes: 10}},
}

func run(w, log io.Writer, seed uint64, shops int) error {
	fmt.Fprintln(w, "records without mistakes")
	for _, d := range designs {
		if err := clean(w, log, d.name, d.design, seed, shops); err != nil {
			return err
		}
	}
	for _, d := range designs[2:] {
		fmt.Fprintf(w, "\none mistake in a record: %s\n", d.name)
		t := tally{}
		for k := range shops {
			s := newShop(seed+uint64(k), d.design)
			for i := range varieties {
				if err := t.seeded(log, s.copy(), varieties[i:i+1]); err != nil {
					return err
				}
			}
		}
		t.print(w)
	}
	for _, d := range designs[4:] {
		fmt.Fprintf(w, "\none mistake of each variety in a record: %s\n", d.name)
		t := tally{}
		for k := range shops {
			if err := t.seeded(log, newShop(seed+uint64(k), d.design), varieties); err != nil {
				return err
			}
		}
		t.print(w)
	}
	return nil
}

// clean counts false alarms.
func clean(w, log io.Writer, name string, d design, seed uint64, shops int) error {
	cells, alarms := 0, 0
	var longest time.Duration
	for k := range shops {
		w := newShop(seed+uint64(k), d)
		began := time.Now()
		data, err := shop.Cells(context.Background(), shop.Source{Readings: w.readings()})
		if err != nil {
			return err
		}
		longest = max(longest, time.Since(began))
		found := data.Suspects
		cells += len(data.Cells)
		alarms += len(found)
		for _, f := range found {
			fmt.Fprintf(log, "false: seed %d: %s %s %s %v %.1f %s\n", seed+uint64(k), f.Kind, f.Pickup, f.Session, f.Strings, f.Evidence, f.Cause)
		}
	}
	fmt.Fprintf(w, "%-46s %3d false in %6d cells: %.2f per 1000; a record in %s at most\n", name, alarms, cells, 1000*float64(alarms)/float64(cells), longest.Round(time.Millisecond))
	return nil
}

// beyondMade is the variety of what was found and had not been made.
const beyondMade = "not made"

// tally counts what was found of what was made, by variety.
type tally map[named]*count

type named struct{ kind, about string }

type count struct{ made, found int }

// seeded makes one mistake of each variety in a shop and screens its record. What is
// found beyond them is counted by itself.
func (t tally) seeded(log io.Writer, s *workshop, vs []variety) error {
	taken := map[*mounting]bool{}
	var made []slip
	for i := range vs {
		if x, ok := s.err(&vs[i], taken); ok {
			made = append(made, x)
		}
	}
	data, err := shop.Cells(context.Background(), shop.Source{Readings: s.readings()})
	if err != nil {
		return err
	}
	all := data.Suspects
	for _, x := range made {
		c := t.of(x.kind, x.about)
		c.made++
		if slices.ContainsFunc(all, x.named) {
			c.found++
			continue
		}
		fmt.Fprintf(log, "missed: seed %d: %s (%s) %s %s %v\n", s.seed, x.kind, x.about, x.pickup, x.session, x.strings)
		for _, f := range all {
			if f.Session == x.session {
				fmt.Fprintf(log, "   instead: %s %v %.1f %s\n", f.Kind, f.Strings, f.Evidence, f.Cause)
			}
		}
	}
	for _, f := range all {
		if !slices.ContainsFunc(made, func(x slip) bool { return x.named(f) }) {
			t.of(f.Kind, beyondMade).found++
		}
	}
	return nil
}

func (t tally) of(kind, about string) *count {
	k := named{kind, about}
	if t[k] == nil {
		t[k] = &count{}
	}
	return t[k]
}

func (t tally) print(w io.Writer) {
	for i := range varieties {
		v := &varieties[i]
		if c := t[named{v.kind, v.about}]; c != nil {
			fmt.Fprintf(w, "%4d of %4d  %s", c.found, c.made, v.kind)
			if v.about != "" {
				fmt.Fprintf(w, ": %s", v.about)
			}
			fmt.Fprintln(w)
		}
	}
	beyond, drifts := 0, t.of(screen.DriftInSession, beyondMade).found
	for k, c := range t {
		if k.about == beyondMade {
			beyond += c.found
		}
	}
	fmt.Fprintf(w, "%4d          found that were not made, %d of them drifts: a shop's own show under each of its mistakes\n", beyond, drifts)
}
