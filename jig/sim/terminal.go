package sim

import (
	"io"
	"net"
	"sync"

	"evenpole/jig"
)

// Term is a serial port without a wire, for a jig to serve.
type Term struct {
	Port io.ReadWriteCloser // the jig's side; closing it pulls the plug
	Name string             // what a host opens; empty where there is no pseudo-terminal

	open  func() (io.ReadWriteCloser, error)
	close func() error
}

// Open opens the host's side, with a pseudo-terminal or without. A host may
// close it, and another may open it then.
func (t *Term) Open() (io.ReadWriteCloser, error) { return t.open() }

// Close closes the jig's side and what holds the port.
func (t *Term) Close() error { return t.close() }

// InProcess returns a port for a host in this process. One host may have it
// open at a time: another one that opens it ends the one before.
func InProcess() *Term {
	s := &socket{plugged: make(chan net.Conn), gone: make(chan struct{})}
	return &Term{Port: s, open: s.open, close: s.Close}
}

// socket is the jig's side of a port in process. It outlives the hosts.
type socket struct {
	plugged chan net.Conn
	gone    chan struct{}

	mu   sync.Mutex
	conn net.Conn // with the host that has it open, or nil
}

// open connects a host as soon as the jig reads.
func (s *socket) open() (io.ReadWriteCloser, error) {
	s.swap(nil)
	jigSide, host := net.Pipe()
	select {
	case s.plugged <- jigSide:
		return host, nil
	case <-s.gone:
		return nil, &jig.PortError{Port: "simulated jig", Err: jig.ErrNoPort}
	}
}

// swap puts a connection in place of the one that was there.
func (s *socket) swap(c net.Conn) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.conn != nil {
		s.conn.Close()
	}
	s.conn = c
}

func (s *socket) closed() bool {
	select {
	case <-s.gone:
		return true
	default:
		return false
	}
}

func (s *socket) current() net.Conn {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.conn
}

// Read waits for a host when there is none.
func (s *socket) Read(p []byte) (int, error) {
	for !s.closed() {
		if c := s.current(); c != nil {
			if n, err := c.Read(p); err == nil {
				return n, nil
			}
			s.forget(c)
		}
		select {
		case c := <-s.plugged:
			s.swap(c)
		case <-s.gone:
		}
	}
	return 0, io.EOF
}

// forget drops a connection whose host has left, unless another is there.
func (s *socket) forget(c net.Conn) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.conn == c {
		s.conn = nil
	}
}

// Write loses what no host is there to read.
func (s *socket) Write(p []byte) (int, error) {
	if s.closed() {
		return 0, io.ErrClosedPipe
	}
	if c := s.current(); c != nil {
		if _, err := c.Write(p); err != nil {
			s.forget(c)
		}
	}
	return len(p), nil
}

func (s *socket) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed() {
		return nil
	}
	close(s.gone)
	if s.conn != nil {
		return s.conn.Close()
	}
	return nil
}
