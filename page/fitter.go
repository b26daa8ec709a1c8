package page

import (
	"fmt"
	"sync"
)

// fitter runs one fit at a time, for as long as it takes, whatever pages do.
type fitter struct {
	mu      sync.Mutex
	running bool
	words   string // how far it is, or what came of it
	done    chan struct{}
}

// say sets what is told of the fit.
func (f *fitter) say(format string, args ...any) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.words = fmt.Sprintf(format, args...)
}

// told is what is told of the fit.
func (f *fitter) told() (running bool, words string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.running, f.words
}

// start runs a fit in the background.
func (f *fitter) start(fit func() (string, error)) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.running {
		return &refused{"a fit is running already"}
	}
	f.running, f.words, f.done = true, "reading the record", make(chan struct{})
	go func() {
		words, err := fit()
		if err != nil {
			words = err.Error()
		}
		f.mu.Lock()
		defer f.mu.Unlock()
		f.running, f.words = false, words
		close(f.done)
	}()
	return nil
}
