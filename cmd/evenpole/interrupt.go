package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

// interrupts are the signals that ask the program to end.
var interrupts = []os.Signal{os.Interrupt, syscall.SIGTERM}

// gently gives a command two ways to end. The first Ctrl-C ends ctx, whose end
// the command takes for a wish: it finishes what it is at. The second one ends
// the context that is returned.
func gently(ctx context.Context) (hard context.Context, release func()) {
	hard, cancel := context.WithCancel(context.WithoutCancel(ctx))
	keys := make(chan os.Signal, 2)
	signal.Notify(keys, interrupts...)
	go func() {
		defer cancel()
		for range 2 {
			select {
			case <-keys:
			case <-hard.Done():
				return
			}
		}
	}()
	return hard, func() {
		signal.Stop(keys)
		cancel()
	}
}
