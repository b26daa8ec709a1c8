package main

import (
	"context"
	"time"

	"evenpole/capture/record"
)

// patience is after how long a command tells what it is at.
var patience = time.Second

// late does the work of a command that may take long, and tells of its steps when it does:
// see [env.tellLate]. Steps are what the work says by [record.Tell].
func late[T any](ctx context.Context, e *env, work func(context.Context) (T, error)) (T, error) {
	step, done := e.tellLate()
	defer done()
	return work(record.WithProgress(ctx, step))
}

// tellLate returns what tells of the steps of a command that takes long: every patience,
// the step that it is at, where that is another one than was told. done ends that, and must
// be called before anything else is told.
func (e *env) tellLate() (step func(string), done func()) {
	steps, ended := make(chan string), make(chan struct{})
	go func() {
		defer close(ended)
		look := time.NewTicker(patience)
		defer look.Stop()
		at, told := "", ""
		for {
			select {
			case <-look.C:
				if at != told {
					e.note("still at work: %s", at)
					told = at
				}
			case next, more := <-steps:
				if !more {
					return
				}
				at = next
			}
		}
	}()
	return func(s string) { steps <- s }, func() { close(steps); <-ended }
}
