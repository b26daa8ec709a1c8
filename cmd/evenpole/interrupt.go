package main

import (
	"context"
	"errors"
	"os"
	"os/signal"
	"sync/atomic"
	"syscall"

	"evenpole/capture"
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
// exit status of a failure; while a command ends gently, that command has the second one
// and the third ends the program.
func interruptible() context.Context {
	next := &nextSignal{}
	var hard context.CancelFunc
	next.came, hard = context.WithCancel(context.Background())
	ctx, cancel := context.WithCancel(context.WithValue(context.Background(), nextSignalKey{}, next))
	signals := make(chan os.Signal, 3)
	signal.Notify(signals, interrupts()...)
	go func() {
		<-signals
		taken := next.takers.Load() > 0 // asked now: the command may have ended by the next one
		cancel()
		<-signals
		if taken {
			hard()
			<-signals
		}
		os.Exit(exitFailed)
	}()
	return ctx
}

// nextSignalKey is the key of a command's context under which it has a *nextSignal.
type nextSignalKey struct{}

// nextSignal is the signal after the one that ended the context of a command.
type nextSignal struct {
	takers atomic.Int32    // commands that have a use of their own for it
	came   context.Context // ends with it
}

// gently gives a command two ways to end. The first Ctrl-C ends ctx: the command
// finishes the step that it is at. The second one ends the context that is returned:
// the command stops at once.
func gently(ctx context.Context) (hard context.Context, release func()) {
	hard, cancel := context.WithCancel(context.WithoutCancel(ctx))
	next, ok := ctx.Value(nextSignalKey{}).(*nextSignal)
	if !ok { // no signal ends it
		return hard, cancel
	}
	next.takers.Add(1)
	forget := context.AfterFunc(next.came, cancel)
	return hard, func() {
		forget()
		cancel()
		next.takers.Add(-1)
	}
}

// endsItself marks a command that looks at its context, as there is a jig to stop before
// it may end, or since all of its long work does, and that comes to an end soon after.
const endsItself = "ends itself"

// leaveWhenInterrupted makes every other command under root end with the context,
// however long it would have computed or read: it is left where it is, once the file
// that it is writing, if any, is whole. Such are those whose work does not look at the
// context yet, or not all of it: fitting and comparing models, what is worked out for
// explain, next and pictures from a model's covariance, the decision on a batch, repeat
// studies and control charts, and what goes through a whole record (verify, seal,
// export, retract, amend, import).
func leaveWhenInterrupted(root *cobra.Command) {
	for _, cmd := range root.Commands() {
		leaveWhenInterrupted(cmd)
		do := cmd.RunE
		if do == nil {
			continue
		}
		if _, ok := cmd.Annotations[endsItself]; ok {
			cmd.RunE = func(cmd *cobra.Command, args []string) error { return stopped(cmd.Context(), do(cmd, args)) }
			continue
		}
		cmd.RunE = func(cmd *cobra.Command, args []string) error {
			ended := make(chan error, 1)
			go func() { ended <- do(cmd, args) }()
			select {
			case err := <-ended:
				return stopped(cmd.Context(), err)
			case <-cmd.Context().Done():
				disk.Finish()
				return errStopped
			}
		}
	}
}

// stopped is errStopped for an error that says no more than that ctx has ended. A capture
// says what is left to do.
func stopped(ctx context.Context, err error) error {
	if ended := ctx.Err(); ended == nil || !errors.Is(err, ended) || errors.As(err, new(*capture.StoppedError)) {
		return err
	}
	return errStopped
}
