package jigtest

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"time"
)

// ErrHungUp is what Serve returns when the script takes the port away.
var ErrHungUp = errors.New("jigtest: the port is lost")

// Serve is the jig on a port. It returns ErrHungUp when a Mishap says so, the
// context's cause when that is done, and otherwise what went wrong with the
// port. A port that is an io.Closer is closed then, since nothing else ends a
// pending Read.
//
// Serve it again, on another port, for a jig whose cable was put back: what it
// would have done in between, it has done, unheard.
func (j *Jig) Serve(ctx context.Context, port io.ReadWriter) error {
	if err := j.plug(); err != nil {
		return err
	}
	defer j.unplug()
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	if c, ok := port.(io.Closer); ok {
		defer c.Close()
		defer context.AfterFunc(ctx, func() { c.Close() })()
	}
	lines := make(chan string)
	go func() { cancel(j.listen(ctx, port, lines)) }()
	return j.converse(ctx, port, lines)
}

// plug connects the port, after catching up with what was due without one.
func (j *Jig) plug() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.served {
		return errors.New("jigtest: the jig has a port already")
	}
	j.served = true
	j.hungUp = false
	now := time.Now()
	if j.on {
		j.dark = true
		j.step(now)
		j.dark = false
	}
	garbage := make([]byte, j.cfg.Garbage)
	for i := range garbage {
		garbage[i] = byte(j.noise.Uint32())
	}
	j.out = garbage
	if !j.on {
		j.now = now
		j.powerUp(0)
	}
	return nil
}

func (j *Jig) unplug() {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.served = false
}

// listen passes on the lines that reach the jig.
func (j *Jig) listen(ctx context.Context, port io.Reader, lines chan<- string) error {
	noise := random(j.cfg.Seed, 2)
	r := bufio.NewReader(port)
	var rest []byte
	for {
		sent, err := r.ReadString('\n')
		if err != nil {
			return err
		}
		var arrived []string
		arrived, rest = split(append(rest, j.cfg.ToJig.pass(noise, sent)...))
		for _, line := range arrived {
			select {
			case lines <- line:
			case <-ctx.Done():
				return nil
			}
		}
	}
}

// converse does what is due and what the host says, until the port is lost.
func (j *Jig) converse(ctx context.Context, port io.Writer, lines <-chan string) error {
	line := ""
	for {
		out, wait, hungUp := j.advance(line)
		if _, err := port.Write(out); err != nil && ctx.Err() == nil {
			return err
		}
		if hungUp {
			return ErrHungUp
		}
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case line = <-lines:
		case <-time.After(wait):
			line = ""
		}
	}
}

// advance acts on a line, if there is one, and on what is due. It returns what
// to send and how long until something else is due.
func (j *Jig) advance(line string) (out []byte, wait time.Duration, hungUp bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	now := time.Now()
	if line == "" {
		j.step(now)
	} else {
		j.arrive(line, now)
	}
	out, j.out = j.out, nil
	return out, j.next().Sub(now), j.hungUp
}

// step does, in order, all that is due by now. It stops short when the port is
// lost: the rest is for when it is back.
func (j *Jig) step(now time.Time) {
	for !j.hungUp {
		due := j.next()
		if due.After(now) {
			j.now = now
			return
		}
		j.now = due
		switch {
		case due.Equal(j.wake):
			j.wake = time.Time{}
			j.identify()
		case due.Equal(j.statusAt):
			j.emit(fmt.Sprintf("S,%s,%d,%d", j.boot, j.seq, j.clock()))
			j.statusAt = due.Add(j.cfg.StatusEvery)
		default:
			j.work()
		}
	}
}

// next is when the next thing is due.
func (j *Jig) next() time.Time {
	if !j.wake.IsZero() {
		return j.wake
	}
	if len(j.queue) > 0 && j.queue[0].due.Before(j.statusAt) {
		return j.queue[0].due
	}
	return j.statusAt
}

// powerUp starts the jig afresh; it is deaf and mute for a while.
func (j *Jig) powerUp(after time.Duration) {
	j.boots++
	j.boot = fmt.Sprintf("%08X", j.bootNumber())
	j.on, j.seq, j.origin = true, 0, j.now
	if j.boots == 1 {
		j.seq = j.cfg.FirstSeq - 1
	}
	j.wake = j.now.Add(after)
	j.statusAt = j.wake.Add(j.cfg.StatusEvery)
	j.memory, j.queue, j.answers, j.last = nil, nil, map[uint64]string{}, "A,0"
}

// bootNumber differs at every power-up: the odd factor goes through all 2^32
// numbers before one comes again.
func (j *Jig) bootNumber() uint32 { return j.cfg.Boot + (j.boots-1)*0x9E3779B1 }

// clock is the jig's time in ms; it wraps at 2^32.
func (j *Jig) clock() uint32 {
	ms := uint32(j.now.Sub(j.origin).Milliseconds())
	if j.boots == 1 {
		ms += j.cfg.Clock
	}
	return ms
}

func (j *Jig) identify() {
	j.emit(fmt.Sprintf("I,1,%s,%s,%s,%d,%d,%s", j.cfg.Name, j.boot, j.cfg.Firmware,
		j.cfg.Strings, j.cfg.FullScale, j.cfg.Excite))
}

// emit sends a line.
func (j *Jig) emit(body string) { j.send(frame(body)) }

// send hands bytes to the cable, if there is one and the jig is not silent.
func (j *Jig) send(line string) {
	if !j.dark && !j.now.Before(j.silent) {
		j.out = append(j.out, j.cfg.ToHost.pass(j.noise, line)...)
	}
}
