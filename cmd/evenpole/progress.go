package main

import "time"

// patience is after how long a command tells what it is at.
const patience = time.Second

// tellLate returns what tells of the steps of a command that takes long: once it has
// taken longer than patience, the step that it is at, and each one from there on. done
// ends that, and must be called before anything else is told.
func (e *env) tellLate() (step func(string), done func()) {
	steps, ended := make(chan string), make(chan struct{})
	go func() {
		defer close(ended)
		late := time.NewTimer(patience)
		defer late.Stop()
		at, isLate := "", false
		for {
			select {
			case <-late.C:
				isLate = true
			case next, more := <-steps:
				if !more {
					return
				}
				at = next
			}
			if isLate && at != "" {
				e.note("still at work: %s", at)
			}
		}
	}()
	return func(s string) { steps <- s }, func() { close(steps); <-ended }
}
