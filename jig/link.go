package jig

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"sync"
	"time"
)

// A link moves lines between a port and the conversation. One goroutine reads
// and one writes, so that neither a port that blocks nor one that floods can
// hold the conversation up.
type link struct {
	port io.ReadWriteCloser
	wake chan struct{}  // has an element when there is something to pull
	out  chan outgoing  // lines for the writer
	stop chan struct{}  // closed by close
	work sync.WaitGroup // the two goroutines

	mu     sync.Mutex
	inbox  []incoming
	err    error // why reading or writing ended
	good   int
	bad    map[Flaw]int
	badOne *BadLine  // the last of them
	heard  time.Time // when the last good line came
}

// incoming is a good line, or a bad one.
type incoming struct {
	line Line
	bad  *BadLine
}

// outgoing is a line to write; sent, unless it is nil, is closed once it is out.
type outgoing struct {
	line []byte
	sent chan struct{}
}

const (
	inboxSize = 4096                   // lines, more than an hour of a jig at rest
	outSize   = 16                     // lines
	readSize  = 4096                   // bytes
	idleRead  = 5 * time.Millisecond   // between two reads that had nothing
	lastWords = 200 * time.Millisecond // for a STOP when there is no time to wait
	closeWait = 2 * time.Second        // for a port that does not want to close
)

func newLink(port io.ReadWriteCloser) *link {
	k := &link{
		port: port,
		wake: make(chan struct{}, 1),
		out:  make(chan outgoing, outSize),
		stop: make(chan struct{}),
		bad:  map[Flaw]int{},
	}
	k.work.Go(k.read)
	k.work.Go(k.write)
	return k
}

// read decodes the port until it fails. A serial library that returns nothing
// and no error means a time-out, not an end.
func (k *link) read() {
	d := NewDecoder()
	buf := make([]byte, readSize)
	for {
		n, err := k.port.Read(buf)
		d.Feed(buf[:n], k.putGood, k.putBad)
		if err != nil {
			k.fail(err)
			return
		}
		if n == 0 && !k.pause(idleRead) {
			return
		}
	}
}

// write writes lines until the port fails.
func (k *link) write() {
	for {
		select {
		case <-k.stop:
			return
		case o := <-k.out:
			if err := writeAll(k.port, o.line); err != nil {
				k.fail(err)
				return
			}
			if o.sent != nil {
				close(o.sent)
			}
		}
	}
}

// writeAll writes all of p: a serial port may take less than it is given.
func writeAll(w io.Writer, p []byte) error {
	for len(p) > 0 {
		n, err := w.Write(p)
		if err != nil {
			return err
		}
		if n == 0 {
			return io.ErrShortWrite
		}
		p = p[n:]
	}
	return nil
}

// pause waits, and tells whether the link is still open.
func (k *link) pause(d time.Duration) bool {
	select {
	case <-k.stop:
		return false
	case <-time.After(d):
		return true
	}
}

func (k *link) putGood(l *Line) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.good++
	k.heard = time.Now()
	k.put(incoming{line: *l})
}

func (k *link) putBad(b *BadLine) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.bad[b.Flaw]++
	k.badOne = b
	k.put(incoming{bad: b})
}

// put files a line. An inbox that nobody empties forgets its older half; what
// was in it is then missing from the sequence and gets asked for.
func (k *link) put(in incoming) {
	if len(k.inbox) == inboxSize {
		k.inbox = append(k.inbox[:0], k.inbox[inboxSize/2:]...)
	}
	k.inbox = append(k.inbox, in)
	k.signal()
}

// fail notes why the port is of no more use.
func (k *link) fail(err error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.err == nil {
		k.err = fmt.Errorf("%w: %w", ErrUnplugged, err)
	}
	k.signal()
}

func (k *link) signal() {
	select {
	case k.wake <- struct{}{}:
	default:
	}
}

// pull takes the next line out of the inbox. Once that is empty, err says
// whether there will be more.
func (k *link) pull() (in incoming, ok bool, err error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if len(k.inbox) == 0 {
		return in, false, k.err
	}
	in = k.inbox[0]
	k.inbox = k.inbox[1:]
	return in, true, nil
}

// push hands a line to the writer. When the writer is stuck the line is
// dropped, as the wire might have done: commands are sent again anyway.
func (k *link) push(o outgoing) {
	select {
	case k.out <- o:
	default:
	}
}

// lastLine sends a line and waits a moment for it to leave.
func (k *link) lastLine(line []byte) {
	if k.failed() {
		return
	}
	sent := make(chan struct{})
	k.push(outgoing{line, sent})
	select {
	case <-sent:
	case <-k.stop:
	case <-time.After(lastWords):
	}
}

func (k *link) failed() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.err != nil
}

// lastHeard returns when the last good line came, and the last bad one.
func (k *link) lastHeard() (good time.Time, bad *BadLine) {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.heard, k.badOne
}

// lines counts the lines that have come.
func (k *link) lines() (good int, bad map[Flaw]int) {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.good, maps.Clone(k.bad)
}

// close closes the port, which ends a read that is waiting, and waits for the
// goroutines, but not for ever.
func (k *link) close() error {
	k.mu.Lock()
	if errors.Is(k.err, ErrClosed) {
		k.mu.Unlock()
		return nil
	}
	k.err = ErrClosed
	close(k.stop)
	k.signal()
	k.mu.Unlock()

	closed := make(chan error, 1)
	go func() {
		err := k.port.Close()
		k.work.Wait()
		closed <- err
	}()
	select {
	case err := <-closed:
		return err
	case <-time.After(closeWait):
		return errors.New("did not close in time")
	}
}
