// Handbook says what is known of pickups before anything is measured: it draws worlds
// from what is physically possible, computes the levels of strings in each by their
// fields, and fits the falloff model's equation to them. A world's parameters are a row of
// worlds.csv, which stands beside this program; what is printed are their means,
// standard deviations and correlations, and how far the equation is off.
//
//	go run ./bench/handbook > bench/handbook/worlds.csv
//
// With -poles it says by how much parameters differ where the same worlds have poles of
// another diameter, or at another spacing, which orders tell:
//
//	go run ./bench/handbook -poles > bench/handbook/poles.csv
//
// The priors in fit/curve are as wide as these worlds and the benches of testdata
// together. Their parameters are chosen so that what worlds differ in most is told by one of
// them: how easily the steel magnetises.
package main

import (
	"flag"
	"fmt"
	"os"
)

func main() {
	worlds := flag.Int("worlds", 100, "number of worlds")
	first := flag.Int("first", 1, "number of the first one")
	poles := flag.Bool("poles", false, "compare poles of other diameters and spacings in place of worlds")
	flag.Parse()
	if *poles {
		check(writePoles(os.Stdout))
		return
	}
	t := &table{names: names()}
	for seed := *first; seed < *first+*worlds; seed++ {
		t.worlds = append(t.worlds, compute(uint64(seed)))
	}
	check(t.write(os.Stdout))
	t.summarise(os.Stderr)
}

func check(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, "handbook:", err)
		os.Exit(1)
	}
}
