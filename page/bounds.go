package page

import (
	"context"
	"sync"
	"time"
)

// What one page may ask of this machine. A person at a bench stays far below; a program
// that runs wild is told to wait.
const (
	largestBody    = 64 << 10 // bytes of a form
	largestSound   = 1 << 30  // bytes of a recording, which is heard as it comes
	mostStreams    = 32       // event streams at a time
	mostWork       = 2        // plans, charts and the like worked out at a time
	requestsASec   = 200
	changesASec    = 10
	triesAMinute   = 10 // of an access code
	longestHeader  = 16 << 10
	headerTime     = 5 * time.Second
	bodyTime       = 15 * time.Second
	recordingTime  = 10 * time.Minute // for a recording to come over a slow network
	answerTime     = 2 * time.Minute
	idleTime       = 2 * time.Minute
	streamTime     = 5 * time.Second // for one event to go out
	heartbeat      = 15 * time.Second
	shutdownTime   = 2 * time.Second
	longestWaiting = 30 * time.Second // for a turn to work something out
)

// bucket bounds a rate: it fills by so many tokens a second, up to as many as it holds.
type bucket struct {
	mu     sync.Mutex
	now    func() time.Time
	rate   float64 // tokens a second
	holds  float64
	tokens float64
	filled time.Time
}

func newBucket(now func() time.Time, rate, holds float64) *bucket {
	return &bucket{now: now, rate: rate, holds: holds, tokens: holds, filled: now()}
}

// take takes a token, if there is one.
func (b *bucket) take() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	now := b.now()
	b.tokens = min(b.holds, b.tokens+b.rate*max(0, now.Sub(b.filled).Seconds()))
	b.filled = now
	if b.tokens < 1 {
		return false
	}
	b.tokens--
	return true
}

// places are so many places that may be taken at a time.
type places chan struct{}

// tryTake takes a place if one is free.
func (p places) tryTake() bool {
	select {
	case p <- struct{}{}:
		return true
	default:
		return false
	}
}

// take waits for a place, until ctx ends.
func (p places) take(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, longestWaiting)
	defer cancel()
	select {
	case p <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (p places) free() { <-p }
