package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

// interrupts are the signals that ask the program to end.
var interrupts = []os.Signal{os.Interrupt, syscall.SIGTERM}

// gently gives a command two ways to end. The first Ctrl-C ends ctx: the command
// finishes the step that it is at. The second one ends the context that is returned:
// the command stops at once.
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
