// Package rig builds the program and serves the simulated jig to it on a
// pseudo-terminal: the common part of the programs that cut captures short, or let what
// they ask of the system fail.
package rig

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"

	"evenpole/jig/sim"
)

// A Bench is a folder to work in, the program, and a simulated jig.
type Bench struct {
	Dir     string
	Program string
	Jig     *sim.Jig
	Port    string

	close func() error
}

// Open makes a folder, builds the program into it unless one is given as a file, and
// serves a simulated jig until Close. Where there are no pseudo-terminals the error is
// errors.ErrUnsupported.
func Open(program string, c sim.Config) (b *Bench, err error) {
	b = &Bench{Program: program}
	if b.Dir, err = os.MkdirTemp("", "bench-"); err != nil {
		return nil, err
	}
	if program == "" {
		b.Program, err = Build(b.Dir)
	}
	if err == nil {
		err = b.serve(c)
	}
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(b.Dir))
	}
	return b, nil
}

// Close ends the jig and removes the folder.
func (b *Bench) Close() error { return errors.Join(b.close(), os.RemoveAll(b.Dir)) }

// Capture is the command that captures into a shop from a port with a mount file.
func (b *Bench) Capture(shop, port, mount, purpose string, takes int) []string {
	return []string{b.Program, "capture", "--shop", shop, "--port", port, "--mount", mount, "--purpose", purpose, "--takes", strconv.Itoa(takes)}
}

// WriteMount writes a mount file of what is on the jig, under a pickup's id.
func (b *Bench) WriteMount(pickup string) (file string, err error) {
	file = filepath.Join(b.Dir, pickup+".toml")
	return file, os.WriteFile(file, []byte(mount(pickup)), 0o666)
}

// NeedStrace returns an errors.ErrUnsupported where there is no strace.
func NeedStrace() error {
	if _, err := exec.LookPath("strace"); err != nil {
		return fmt.Errorf("%w: it is in the package strace of Linux distributions: %w", err, errors.ErrUnsupported)
	}
	return nil
}

// Fault returns the first fault that the program tells of a shop, "" for none.
func (b *Bench) Fault(shop string) string {
	said, err := exec.Command(b.Program, "record", "verify", "--shop", shop).CombinedOutput()
	if err == nil {
		return ""
	}
	for line := range strings.Lines(string(said)) {
		if strings.HasPrefix(line, "fault") {
			return line
		}
	}
	if strings.Contains(string(said), "has no readings yet") {
		return ""
	}
	return string(said)
}

// Build builds the program into a folder.
func Build(dir string) (program string, err error) {
	program = filepath.Join(dir, "evenpole")
	if text, err := exec.Command("go", "build", "-o", program, "evenpole/cmd/evenpole").CombinedOutput(); err != nil {
		return "", fmt.Errorf("build the program: %w\n%s", err, text)
	}
	return program, nil
}

// serve serves a simulated jig, with a pickup on it, until Close.
func (b *Bench) serve(c sim.Config) error {
	term, err := sim.Terminal()
	if err != nil {
		return err
	}
	if term.Name == "" {
		return errors.Join(fmt.Errorf("a pseudo-terminal: %w", errors.ErrUnsupported), term.Close())
	}
	b.Jig, b.Port = sim.New(c), term.Name
	b.Jig.Mount(mounted())
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan struct{})
	go func() {
		defer close(served)
		b.Jig.Serve(ctx, term.Port) // how it ends shows in the captures
	}()
	b.close = func() error { cancel(); <-served; return term.Close() }
	return nil
}

// mount is the text of a mount file of what is on the jig, under a pickup's id.
func mount(pickup string) string {
	return fmt.Sprintf(`pickup = %q
batch = "rig"
poles = "rod"
pole_heights_mm = [1, 1, 1, 1, 1, 1]
string_heights_mm = [3, 3, 3, 3, 3, 3]
set = "light plain-third 10-46"
`, pickup)
}

// mounted is what is on the jig.
func mounted() (m sim.Mounted) {
	for i := range 6 {
		m.Poles = append(m.Poles, sim.Pole{Height: 1, Radius: 2.38, Length: 16.5, Remanence: 0.31})
		m.Strings = append(m.Strings, sim.String{Gauge: 0.25 + 0.1*float64(i)})
		m.StringHeights = append(m.StringHeights, 3)
	}
	return m
}
