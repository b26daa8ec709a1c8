// Package rig builds the program and serves the simulated jig to it on a
// pseudo-terminal: the common part of the programs that cut captures short.
package rig

import (
	"context"
	"errors"
	"fmt"
	"os/exec"
	"path/filepath"

	"evenpole/jig/sim"
)

// Build builds the program into a folder.
func Build(dir string) (program string, err error) {
	program = filepath.Join(dir, "evenpole")
	if text, err := exec.Command("go", "build", "-o", program, "evenpole/cmd/evenpole").CombinedOutput(); err != nil {
		return "", fmt.Errorf("build the program: %w\n%s", err, text)
	}
	return program, nil
}

// A Rig is a simulated jig with a pickup on it, at a port.
type Rig struct {
	Jig  *sim.Jig
	Port string

	close func() error
}

// Serve serves a simulated jig until Close. Where there are no pseudo-terminals the
// error is errors.ErrUnsupported.
func Serve(c sim.Config) (*Rig, error) {
	term, err := sim.Terminal()
	if err != nil {
		return nil, err
	}
	if term.Name == "" {
		return nil, errors.Join(fmt.Errorf("a pseudo-terminal: %w", errors.ErrUnsupported), term.Close())
	}
	j := sim.New(c)
	j.Mount(mounted())
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan struct{})
	go func() {
		defer close(served)
		j.Serve(ctx, term.Port) // how it ends shows in the captures
	}()
	return &Rig{j, term.Name, func() error { cancel(); <-served; return term.Close() }}, nil
}

// Close ends the jig.
func (r *Rig) Close() error { return r.close() }

// Mount is the text of a mount file of what is on the jig, under a pickup's id.
func Mount(pickup string) string {
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
