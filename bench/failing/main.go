// Command failing lets the system calls of the commands that write to a shop fail, one
// after the other, and looks what becomes of the shop.
//
//	go run ./bench/failing [-cases 700] [-program FILE]
//
// The commands are a capture of the simulated jig, import, amend, retract, seal, fit and
// check. Each runs on a copy of one shop, once under strace to see which calls it makes to
// the shop's files, and then once for each of them and each of ENOSPC, EIO and EACCES,
// which that call returns without having done anything. (strace counts by thread: where Go
// moves a command to another one, two calls may fail.) Of all these cases as many as asked
// for are tried, spread evenly.
//
// After each the record is verified; the same command is given again; and, on another copy,
// another one that writes. It prints how often readings that were called kept, or stood
// before, are gone; how often a shop verifies with a fault, before or after the next
// command; how often a next command does not work, or what the two did together is not
// what the command does alone; how often the program panicked or did not end; and how often
// a call that failed was not told, though that is no fault where it does not matter, as
// when a file is closed. It fails unless all but the last are 0. It needs strace.
//
// The files, each of which uses only those before it: strace.go lets calls fail, shop.go
// has the shop and the commands, main.go tries them.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"evenpole/bench/rig"
	"evenpole/bench/truth"
	"evenpole/jig/sim"
)

func main() {
	var o options
	flag.IntVar(&o.cases, "cases", 700, "how `many` to try, spread evenly over all")
	flag.StringVar(&o.program, "program", "", "the program, as a `file` (default: built from ./cmd/evenpole)")
	flag.Parse()
	if err := run(os.Stdout, o); err != nil {
		fmt.Fprintln(os.Stderr, "failing:", err)
		os.Exit(1)
	}
}

type options struct {
	cases   int
	program string
}

// speed of the simulated jig.
const speed = 500

func run(out io.Writer, o options) error {
	if err := rig.NeedStrace(); err != nil {
		return err
	}
	w, err := rig.Open(o.program, sim.Config{Seed: 1, Speed: speed})
	if err != nil {
		return err
	}
	defer w.Close()
	b := &bench{Bench: w}
	if err := b.makeShop(); err != nil {
		return err
	}
	all, err := b.cases()
	if err != nil {
		return err
	}
	began, tried := time.Now(), min(o.cases, len(all))
	for i := range tried {
		if err := b.try(all[i*len(all)/tried]); err != nil {
			return err
		}
	}
	return b.report(out, len(all), tried, time.Since(began))
}

// A trial is a command of which one call fails.
type trial struct {
	command
	call
	errno string
}

func (c trial) String() string {
	return fmt.Sprintf("%s, %s %d as %s", c.command.name, c.call.name, c.nth, c.errno)
}

// cases runs every command without a fault, notes what it does, and returns all calls
// that can fail.
func (b *bench) cases() (all []trial, err error) {
	for _, c := range b.commands() {
		calls, err := b.plain(&c)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", c.name, err)
		}
		for _, call := range calls {
			for _, errno := range []string{"ENOSPC", "EIO", "EACCES"} {
				all = append(all, trial{c, call, errno})
			}
		}
	}
	return all, nil
}

// plain runs a command twice as it is, the first time under strace.
func (b *bench) plain(c *command) ([]call, error) {
	shop, err := b.copyShop(b.shop)
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(shop)
	first, calls := traced(b.Dir, c.words(shop), shop)
	if first.hung || !slices.Contains(c.good, first.status) {
		return nil, fmt.Errorf("status %d without a fault: %s", first.status, first.said)
	}
	if c.rows, err = b.rows(shop); err != nil {
		return nil, err
	}
	second := ended(c.words(shop))
	c.again = second.status
	return calls, nil
}

// try lets a call of a command fail, and looks at what it left.
func (b *bench) try(c trial) error {
	shop, err := b.copyShop(b.shop)
	if err != nil {
		return err
	}
	defer os.RemoveAll(shop)
	r, hit := failing(b.Dir, c.words(shop), c.call, c.errno)
	b.failed += hit
	if r.hung || panicked(r.said) {
		b.tell(&b.wrecked, c, r.said)
	}
	good := slices.Contains(c.good, r.status)
	if good && hit > 0 {
		b.untold++
	}
	if err := b.judge(c, shop, r.said); err != nil {
		return err
	}
	other, err := b.copyShop(shop)
	if err != nil {
		return err
	}
	defer os.RemoveAll(other)

	again := ended(c.words(shop))
	if !slices.Contains(c.good, again.status) && again.status != c.again {
		b.tell(&b.unable, c, "again: "+again.said)
	}
	if n, err := b.rows(shop); err != nil || c.exact && n != c.rows {
		b.tell(&b.unable, c, fmt.Sprintf("again: %d rows, %d without a fault: %v", n, c.rows, err))
	}
	if err := b.judge(c, shop, r.said+again.said); err != nil {
		return err
	}
	if next := ended(b.another(other)); next.status != 0 {
		b.tell(&b.unable, c, "another: "+next.said)
	}
	return b.judge(c, other, r.said)
}

// judge looks whether a shop has what it had and what was called kept since, and verifies.
func (b *bench) judge(c trial, shop, said string) error {
	for path, before := range b.files {
		now, err := os.ReadFile(filepath.Join(shop, path))
		if grows := strings.HasPrefix(string(now), before); err != nil || !grows {
			b.tell(&b.lost, c, fmt.Sprintf("%s is not what it was: %v", path, err))
		}
	}
	rows, err := truth.Rows(shop)
	if err != nil {
		b.tell(&b.lost, c, err.Error())
		return nil
	}
	var kept []string
	for line := range strings.Lines(said) {
		if strings.HasPrefix(line, "kept ") && strings.HasSuffix(line, "\n") {
			kept = append(kept, line)
		}
	}
	if n := truth.Lost(kept, rows); n > 0 {
		b.tell(&b.lost, c, fmt.Sprintf("%d readings that were called kept are gone", n))
	}
	if fault := b.Fault(shop); fault != "" {
		b.tell(&b.accused, c, fault)
	}
	return nil
}

// tell counts what went wrong, and keeps the first few texts.
func (b *bench) tell(count *int, c trial, text string) {
	*count++
	if len(b.said) < 8 {
		from := max(0, len(text)-400)
		if at := strings.Index(text, "panic: "); at >= 0 {
			from = at
		}
		b.said = append(b.said, fmt.Sprintf("%v: %s", c, strings.TrimSpace(text[from:min(from+1000, len(text))])))
	}
}

func (b *bench) report(out io.Writer, all, tried int, took time.Duration) error {
	fmt.Fprintf(out, "%d cases, %d tried in %.0f s; %d calls failed, %d of them without a word\n", all, tried, took.Seconds(), b.failed, b.untold)
	fmt.Fprintf(out, "kept, or there before, and gone  %d\nfailure called tampering         %d\nnext command does not work       %d\npanicked or did not end          %d\n",
		b.lost, b.accused, b.unable, b.wrecked)
	for _, text := range b.said {
		fmt.Fprintln(out, "  ", text)
	}
	if b.lost+b.accused+b.unable+b.wrecked > 0 || b.failed == 0 {
		return errors.New("expected 0 of each, and some calls that failed")
	}
	return nil
}
