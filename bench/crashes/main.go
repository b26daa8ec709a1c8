// Command crashes rebuilds what a power cut can leave of a capture, and looks whether
// that is ever lost, or called tampering.
//
//	go run ./bench/crashes [-states 2000] [-program FILE]
//
// It has strace write down in which order a capture, and one that goes on with what the
// first one left when it was killed, write, sync, name and cut files. From that it
// rebuilds the states that a power cut, or a kill, can leave after each call: of what was
// not synced a file has all, nothing, a half, or the length without the text, and a name
// that was not synced is there or is not. Each state is then opened by a command that
// adds no row (a capture whose jig is absent), by that command after writer.lock was
// deleted, and, one in ten, by the same capture; and verified before and after.
//
// It prints how many readings were acknowledged and lost, how many states verify with a
// fault though nobody touched them, and in how many a row that was altered by hand after
// it was sealed is not told. It fails unless all of these are 0. It needs strace.
//
// The files, each of which uses only those before it: strace.go reads the calls, disk.go
// plays them onto a model of a disk and has the states, main.go tries them.
package main

import (
	"cmp"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"evenpole/bench/rig"
	"evenpole/bench/truth"
	"evenpole/capture/record/disk"
	"evenpole/jig/sim"
)

func main() {
	var o options
	flag.IntVar(&o.states, "states", 2000, "how `many` states to try, spread evenly over all")
	flag.StringVar(&o.program, "program", "", "the program, as a `file` (default: built from ./cmd/evenpole)")
	flag.Parse()
	if err := run(os.Stdout, o); err != nil {
		fmt.Fprintln(os.Stderr, "crashes:", err)
		os.Exit(1)
	}
}

type options struct {
	states  int
	program string
}

// speed of the simulated jig.
const speed = 200

func run(out io.Writer, o options) error {
	if err := rig.NeedStrace(); err != nil {
		return err
	}
	w, err := rig.Open(o.program, sim.Config{Seed: 1, Speed: speed})
	if err != nil {
		return err
	}
	defer w.Close()
	mount, err := w.WriteMount("C-1")
	if err != nil {
		return err
	}
	b := &bench{options: o, Bench: w, mount: mount}
	states, err := b.trace()
	if err != nil {
		return err
	}
	began, tried := time.Now(), min(o.states, len(states))
	for i := range tried {
		if err := b.try(states[i*len(states)/tried], i%10 == 0); err != nil {
			return err
		}
	}
	return b.report(out, len(states), tried, time.Since(began))
}

// bench is a jig with the program, a mount file, and what has come of the states.
type bench struct {
	options
	*rig.Bench
	mount string

	lost, accused, unclean int
	altered, untold        int
	said                   []string // of the first that went wrong
}

func (b *bench) capture(shop, port string) []string {
	return b.Capture(shop, port, b.mount, "model", 2)
}

// trace runs a capture that is killed in the middle and one that goes on with it, and
// returns the states that a power cut can leave of either.
func (b *bench) trace() (all []state, err error) {
	shop, file := filepath.Join(b.Dir, "traced"), filepath.Join(b.Dir, "strace.txt")
	d := newModel(shop)
	for _, killed := range []bool{true, false} {
		words := append([]string{"-f", "-y", "-xx", "-s", "1000000", "-e", "trace=" + tracedCalls, "-o", file}, b.capture(shop, b.Port)...)
		cmd := exec.Command("strace", words...)
		if killed {
			cmd = exec.Command("sh", "-c", `strace "$@" 2>&1 >/dev/null | head -n 6 >/dev/null`, "sh")
			cmd.Args = append(cmd.Args, words...)
		}
		if err := cmd.Run(); err != nil {
			return nil, fmt.Errorf("strace: %w", err)
		}
		text, err := os.Open(file)
		if err != nil {
			return nil, err
		}
		err = readCalls(text, d.play)
		text.Close()
		if err != nil {
			return nil, err
		}
	}
	return d.states, nil
}

// try opens a state by one command after the other, each in a copy of its own.
func (b *bench) try(s state, again bool) error {
	absent := filepath.Join(b.Dir, "no-such-port")
	for _, next := range []struct {
		port        string
		deleteLock  bool
		tamper, run bool
	}{{absent, false, true, true}, {absent, true, false, true}, {b.Port, false, false, again}} {
		if !next.run {
			continue
		}
		shop, err := os.MkdirTemp(b.Dir, "state-")
		if err != nil {
			return err
		}
		if err := s.make(shop); err != nil {
			return err
		}
		before := b.Fault(shop)
		if next.deleteLock {
			os.Remove(filepath.Join(shop, disk.LockFile))
		}
		words := b.capture(shop, next.port)
		said, err := exec.Command(words[0], words[1:]...).CombinedOutput()
		if next.port == b.Port && err != nil {
			b.unclean++
			b.say(string(said))
		}
		if err := b.judge(s, shop, before); err != nil {
			return err
		}
		if next.tamper && s.sealed() > 0 {
			if err := b.tamper(shop); err != nil {
				return err
			}
		}
		os.RemoveAll(shop)
	}
	return nil
}

// judge looks whether a shop that was opened again has what was acknowledged, and
// verifies.
func (b *bench) judge(s state, shop, before string) error {
	rows, err := truth.Rows(shop)
	if err != nil {
		return err
	}
	b.lost += truth.Lost(s.kept, rows)
	if fault := cmp.Or(before, b.Fault(shop)); fault != "" {
		b.accused++
		b.say(fault)
	}
	return nil
}

// tamper alters the first row, which was sealed, and looks whether that is told.
func (b *bench) tamper(shop string) error {
	path := filepath.Join(shop, "readings.csv")
	text, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	b.altered++
	if err := os.WriteFile(path, []byte(strings.Replace(string(text), ",C-1,", ",C-9,", 1)), 0o644); err != nil {
		return err
	}
	if b.Fault(shop) == "" {
		b.untold++
	}
	return nil
}

// say keeps what went wrong, the first few times.
func (b *bench) say(text string) {
	if len(b.said) < 5 {
		b.said = append(b.said, strings.TrimSpace(text))
	}
}

func (b *bench) report(out io.Writer, all, tried int, took time.Duration) error {
	fmt.Fprintf(out, "%d states, %d tried in %.0f s; %d rows altered by hand\n", all, tried, took.Seconds(), b.altered)
	fmt.Fprintf(out, "acknowledged and lost     %d\ncrash called tampering    %d\ntampering not told        %d\nresumed and not clean     %d\n",
		b.lost, b.accused, b.untold, b.unclean)
	for _, text := range b.said {
		fmt.Fprintln(out, "  ", text)
	}
	if b.lost+b.accused+b.untold+b.unclean > 0 || b.altered == 0 {
		return errors.New("expected 0 of each, and some altered")
	}
	return nil
}
