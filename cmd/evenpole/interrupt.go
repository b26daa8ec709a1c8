package main

import (
	"context"
	"errors"
	"os"
	"os/signal"
	"sync/atomic"
	"syscall"

	"evenpole/capture/record/disk"

	"github.com/spf13/cobra"
)

// errStopped is the error of a command that was interrupted.
var errStopped = errors.New("stopped")

// interrupts are the signals that ask the program to end. SIGHUP says that the
// terminal is gone; under nohup it is to be ignored, and stays so.
func interrupts() []os.Signal {
	all := []os.Signal{os.Interrupt, syscall.SIGTERM}
	if !signal.Ignored(syscall.SIGHUP) {
		all = append(all, syscall.SIGHUP)
	}
	return all
}

// interruptible returns a context that ends with the first signal that asks the
// program to end. The next one ends the program at once, whatever it is at, with the
// exit status of a failure; while a command ends gently, the one after that.
func interruptible() context.Context {
	ctx, cancel := context.WithCancel(context.Background())
	signals := make(chan os.Signal, 3)
	signal.Notify(signals, interrupts()...)
	go func() {
		<-signals
		own := gentle.Load() > 0 // asked now: the command may have ended by the next one
		cancel()
		if own {
			<-signals
		}
		<-signals
		os.Exit(exitFailed)
	}()
	return ctx
}

// gentle counts the commands that have a use of their own for a second signal.
var gentle atomic.Int32

// gently gives a command two ways to end. The first Ctrl-C ends ctx: the command
// finishes the step that it is at. The second one ends the context that is returned:
// the command stops at once.
func gently(ctx context.Context) (hard context.Context, release func()) {
	hard, cancel := context.WithCancel(context.WithoutCancel(ctx))
	gentle.Add(1)
	keys := make(chan os.Signal, 2)
	signal.Notify(keys, interrupts()...)
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
		gentle.Add(-1)
	}
}

// endsItself marks a command that looks at its context, since there is a jig to stop
// before it may end, and that comes to an end soon after.
const endsItself = "ends itself"

// leaveWhenInterrupted makes every other command under root end with the context,
// however long it would have computed or read: it is left where it is, once the file
// that it is writing, if any, is whole. No loop of theirs has to look at the context, so
// that none can forget to.
func leaveWhenInterrupted(root *cobra.Command) {
	for _, cmd := range root.Commands() {
		leaveWhenInterrupted(cmd)
		do := cmd.RunE
		if _, ok := cmd.Annotations[endsItself]; ok || do == nil {
			continue
		}
		cmd.RunE = func(cmd *cobra.Command, args []string) error {
			ended := make(chan error, 1)
			go func() { ended <- do(cmd, args) }()
			select {
			case err := <-ended:
				if stopped := cmd.Context().Err(); stopped != nil && errors.Is(err, stopped) {
					return errStopped
				}
				return err
			case <-cmd.Context().Done():
				disk.Finish()
				return errStopped
			}
		}
	}
}
