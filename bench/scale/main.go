// Scale measures how the program grows with a shop's record:
//
//	go run ./bench/scale -rows 10000,100000,1000000
//
// makes a log of each length by the physics of the simulated jig, runs every stage on it
// as a process of its own, and prints time, processor time and peak memory beside those
// of a bare prototype, and how they grow from one length to the next: an exponent of 1 is
// in proportion to rows. "100 more rows" is a fit in a shop that was fitted 100 rows ago,
// "no more rows" one right after another. Where python3 with pandas and SciPy, or R with
// data.table and lme4, are installed, they fit a plain falloff to the same file in the same
// run, and their slopes have to agree with the prototype's.
//
//	go run ./bench/scale -make DIR -rows 10000
//
// only writes DIR/10k.csv and so on. The same number of rows and seed make the same
// bytes.
//
// The way through it: levels.go asks the simulated jig for levels, shop.go makes the
// record, rows.go writes it; bare.go is the prototype, sealed.go makes shops with seals
// and loose magnets, stage.go runs the stages, report.go prints.
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"evenpole/bench/rig"
)

func main() {
	dir := flag.String("make", "", "folder to write logs to; nothing is measured then")
	sizes := flag.String("rows", "10000,100000,1000000", "rows of the logs")
	packs := flag.Int("packs", 1, "packs of each of the three string sets, which the shop tells apart")
	seed := flag.Uint64("seed", 1, "what the shop is drawn from")
	only := flag.String("only", "", "stages to run, with commas between them; empty: all")
	one := flag.String("stage", "", "run one stage on the log that is named, in this process")
	flag.Parse()
	if err := run(*dir, *sizes, *packs, *seed, *only, *one); err != nil {
		fmt.Fprintln(os.Stderr, "scale:", err)
		os.Exit(1)
	}
}

func run(dir, sizes string, packs int, seed uint64, only, one string) error {
	if one != "" {
		return runHere(one, flag.Arg(0))
	}
	var rows []int
	for _, text := range strings.Split(sizes, ",") {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 {
			return fmt.Errorf("expected numbers of rows, got %q", text)
		}
		rows = append(rows, n)
	}
	if packs < 1 {
		return fmt.Errorf("expected packs of each set, got %d", packs)
	}
	if dir != "" {
		return makeAll(dir, rows, packs, seed)
	}
	return measure(rows, packs, seed, only)
}

// runHere runs a stage in this process.
func runHere(name, log string) error {
	for _, s := range stages("", "") {
		if s.name == name && s.does != nil {
			said, err := s.does(log)
			fmt.Println(said)
			return err
		}
	}
	return fmt.Errorf("no stage %q of this program", name)
}

// makeAll writes the logs to a folder.
func makeAll(dir string, rows []int, packs int, seed uint64) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	for _, n := range rows {
		path := filepath.Join(dir, sizeName(n)+".csv")
		if err := makeLog(path, n, packs, seed); err != nil {
			return err
		}
		fmt.Println(path)
	}
	return nil
}

// measure runs the stages on logs that are made for it.
func measure(rows []int, packs int, seed uint64, only string) error {
	dir, err := os.MkdirTemp("", "scale")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	program, err := rig.Build(dir)
	if err != nil {
		return err
	}
	var r report
	for _, n := range rows {
		log := filepath.Join(dir, "readings.csv")
		if err := makeLog(log, n, packs, seed); err != nil {
			return err
		}
		for _, s := range stages(program, dir) {
			if only != "" && !strings.Contains(","+only+",", ","+s.name+",") {
				continue
			}
			if s.does == nil && s.args(log) == nil {
				fmt.Printf("%s: not installed\n", s.name)
				continue
			}
			c, err := s.run(log)
			if err != nil {
				return err
			}
			r.add(n, s.name, c)
		}
	}
	return r.agrees()
}
