package jig

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/creack/pty"
)

func TestOpenWhatIsNotAPort(t *testing.T) {
	name := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(name, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(name, 9600); !errors.Is(err, ErrNotSerial) {
		t.Errorf("got %v", err)
	}
}

// The conversation over a terminal of the system: Attach, then the far end
// goes away.
func TestOverATerminal(t *testing.T) {
	far, tty, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	name := tty.Name()
	port, err := Open(name, 0)
	if err != nil {
		t.Fatal(err)
	}
	tty.Close()
	go answer(far)

	c, err := Attach(t.Context(), port, name, Options{Silence: time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if c.Ident() != bench || c.Last() != 3 {
		t.Errorf("ident %+v, last %d", c.Ident(), c.Last())
	}
	far.Close()
	_, err = pluck(t, c, &record{}, 1)
	var pe *PortError
	if !errors.As(err, &pe) || !errors.Is(err, ErrUnplugged) || pe.Port != name {
		t.Errorf("got %v", err)
	}
}

// answer is a jig at rest: it answers STOP and IDENT.
func answer(far *os.File) {
	d := NewDecoder()
	buf := make([]byte, 100)
	for {
		n, err := far.Read(buf)
		if err != nil {
			return
		}
		d.Feed(buf[:n], func(l *Line) {
			var p []byte
			if l.Command.Verb == VerbIdent {
				p = bench.AppendLine(p)
			}
			p = Answer{ID: l.Command.ID}.AppendLine(p)
			far.Write(Status{Boot: boot1, Seq: 3}.AppendLine(p))
		}, func(*BadLine) {})
	}
}

func TestCloseEndsAReadOnATerminal(t *testing.T) {
	far, tty, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer far.Close()
	defer tty.Close()
	port, err := Open(tty.Name(), 0)
	if err != nil {
		t.Fatal(err)
	}
	failed := make(chan error)
	go func() {
		_, err := Attach(t.Context(), port, tty.Name(), Options{Silence: time.Minute})
		failed <- err
	}()
	port.Close()
	if err := <-failed; !errors.Is(err, ErrUnplugged) {
		t.Errorf("got %v", err)
	}
}
