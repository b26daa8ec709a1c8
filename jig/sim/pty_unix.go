//go:build linux || darwin

package sim

import (
	"errors"
	"fmt"
	"io"
	"os"
	"syscall"

	"evenpole/jig"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// Terminal opens a pseudo-terminal that passes all bytes unaltered.
func Terminal() (*Term, error) {
	master, slave, err := pty.Open()
	if err != nil {
		return nil, fmt.Errorf("open a pseudo-terminal: %w", err)
	}
	defer master.Close()
	port, err := interruptible(master)
	if err != nil {
		slave.Close()
		return nil, fmt.Errorf("prepare pseudo-terminal %q: %w", slave.Name(), err)
	}
	if err := passUnaltered(slave.Name()); err != nil {
		port.Close()
		slave.Close()
		return nil, err
	}
	return &Term{
		Port: shared{port, slave},
		Name: slave.Name(),
		open: func() (io.ReadWriteCloser, error) { return jig.Open(slave.Name(), 0) },
		// The slave is held open until then, or reads would fail between hosts.
		close: func() error { return errors.Join(ignoreClosed(port.Close()), slave.Close()) },
	}, nil
}

// shared is the jig's side of a pseudo-terminal that no host can take along
// when it is killed. A host claims a port for itself, and its end frees a real
// one; a pseudo-terminal would stay claimed for as long as the jig holds it.
type shared struct {
	*os.File
	slave *os.File
}

func (s shared) Read(p []byte) (int, error) {
	n, err := s.File.Read(p)
	s.free()
	return n, err
}

func (s shared) Write(p []byte) (int, error) {
	s.free()
	return s.File.Write(p)
}

// free takes a claim away. A terminal that is closed has none.
func (s shared) free() {
	if c, err := s.slave.SyscallConn(); err == nil {
		c.Control(func(fd uintptr) { unix.IoctlSetInt(int(fd), unix.TIOCNXCL, 0) })
	}
}

// interruptible returns a file whose pending Read ends when it is closed. That
// takes a descriptor that does not block, and the one that we get does.
func interruptible(f *os.File) (*os.File, error) {
	fd, err := syscall.Dup(int(f.Fd()))
	if err != nil {
		return nil, err
	}
	syscall.CloseOnExec(fd)
	if err := syscall.SetNonblock(fd, true); err != nil {
		syscall.Close(fd)
		return nil, err
	}
	return os.NewFile(uintptr(fd), f.Name()), nil
}

// passUnaltered turns off echo, line editing and line ends, by opening the port
// as a host does: the settings stay.
func passUnaltered(name string) error {
	p, err := jig.Open(name, 0)
	if err != nil {
		return err
	}
	return p.Close()
}

// ignoreClosed leaves out that a file was closed before: Serve does that.
func ignoreClosed(err error) error {
	if errors.Is(err, os.ErrClosed) {
		return nil
	}
	return err
}
