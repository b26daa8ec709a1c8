package sim

import (
	"context"
	"errors"
	"io"
	"time"

	"evenpole/jig"
)

// ErrHungUp is what Serve returns when Faults.HangUpAfter takes the port away.
var ErrHungUp = errors.New("jig hung up")

// Serve is the jig on a port. It returns ErrHungUp when a fault says so, the
// context's cause when that is done, and otherwise what ended the port. A port
// that is an io.Closer is closed then, because nothing else ends a pending
// Read; one that is not leaves its reader waiting.
//
// The first Serve switches the jig on. Without a port it goes on with what it
// was told, unheard; a later Serve, on the same or another port, finds it where
// it is by then. What a host does not read in time is lost.
func (j *Jig) Serve(ctx context.Context, port io.ReadWriter) error {
	if err := j.plug(); err != nil {
		return err
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	if c, ok := port.(io.Closer); ok {
		defer c.Close()
		defer context.AfterFunc(ctx, func() { c.Close() })()
	}
	defer j.unplug() // before the port is closed: its host may have another at once
	out := make(chan []byte, 256)
	sent := make(chan struct{})
	go func() { cancel(j.read(port)) }()
	go func() {
		defer close(sent)
		if err := write(port, out); err != nil {
			cancel(err)
		}
	}()
	err := j.attend(ctx, out)
	close(out)
	if errors.Is(err, ErrHungUp) {
		drain(ctx, sent)
	}
	return err
}

// drain gives what was sent before the end a chance to be read.
func drain(ctx context.Context, sent <-chan struct{}) {
	select {
	case <-sent:
	case <-ctx.Done():
	case <-time.After(time.Second):
	}
}

// plug connects a port, after catching up with what was due without one.
func (j *Jig) plug() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.served {
		return errors.New("simulated jig has a port already")
	}
	j.hungUp = false
	now := j.clock()
	if j.boots > 0 {
		j.step(now)
	}
	j.served = true
	j.decoder, j.toJig.rest = jig.NewDecoder(), nil
	if j.cfg.Faults.Garbage {
		j.out = append(j.out, j.toHost.rubbish()...)
	}
	if j.boots == 0 {
		j.now = now
		j.powerUp()
	}
	return nil
}

func (j *Jig) unplug() {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.served = false
	j.out = nil
}

// read acts on what the host says until the port ends.
func (j *Jig) read(port io.Reader) error {
	buf := make([]byte, 4096)
	for {
		n, err := port.Read(buf)
		if n > 0 {
			j.hear(buf[:n])
			j.nudge()
		}
		if err != nil {
			return err
		}
	}
}

// hear acts on bytes from the host. What is not a sound command gets no answer.
func (j *Jig) hear(p []byte) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.step(j.clock())
	j.decode(j.toJig.pass(nil, p))
}

// write sends chunks until there are no more or the port is lost.
func write(port io.Writer, out <-chan []byte) error {
	for chunk := range out {
		if _, err := port.Write(chunk); err != nil {
			return err
		}
	}
	return nil
}

// attend does what is due until the port is lost.
func (j *Jig) attend(ctx context.Context, out chan<- []byte) error {
	for {
		chunk, wait, hungUp := j.advance()
		if len(chunk) > 0 {
			select {
			case out <- chunk:
			default: // nobody reads: a serial line does not wait
			}
		}
		if hungUp {
			return ErrHungUp
		}
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-j.wake:
		case <-time.After(wait):
		}
	}
}

// advance does what is due. It returns what to send and how long until
// something else is due.
func (j *Jig) advance() (out []byte, wait time.Duration, hungUp bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.step(j.clock())
	out, j.out = j.out, nil
	return out, j.wall(j.next() - j.now), j.hungUp
}
