package jigtest

import (
	"context"
	"io"
	"testing"
)

// Terminal is a pseudo-terminal that passes bytes unaltered: a serial port
// without a wire.
type Terminal struct {
	Path   string             // what the host opens
	Master io.ReadWriteCloser // the jig's end; closing it is pulling the plug

	slave io.Closer // held open, so that the jig's end outlives each host
}

// Close closes both ends.
func (t *Terminal) Close() error {
	err := t.Master.Close()
	if errSlave := t.slave.Close(); err == nil {
		err = errSlave
	}
	return err
}

// Attach serves the jig on a new pseudo-terminal until the test ends, and
// returns the path of its port. It skips the test where there are none.
func Attach(tb testing.TB, j *Jig) (path string) {
	tb.Helper()
	term, err := OpenTerminal()
	if err != nil {
		tb.Skip(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- j.Serve(ctx, term.Master) }()
	tb.Cleanup(func() {
		cancel()
		<-done
		term.Close()
	})
	return term.Path
}
