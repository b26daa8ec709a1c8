package jig

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

func TestOpenNoPort(t *testing.T) {
	name := filepath.Join(t.TempDir(), "none")
	port, err := Open(name, 0)
	var pe *PortError
	if port != nil || !errors.As(err, &pe) || pe.Port != name || !errors.Is(err, ErrNoPort) {
		t.Fatalf("got %v, %v", port, err)
	}
	if !strings.HasSuffix(err.Error(), `: does not exist`) {
		t.Errorf("got %v", err)
	}
}

// What the serial library leaves as the system said it.
func TestExplain(t *testing.T) {
	other := errors.New("on fire")
	for _, c := range []struct {
		err    error
		system string
		want   error
		hint   bool
	}{
		{&fs.PathError{Err: fs.ErrNotExist}, "linux", ErrNoPort, false},
		{syscall.ENOENT, "linux", ErrNoPort, false},
		{os.ErrPermission, "linux", ErrPermission, true},
		{os.ErrPermission, "windows", ErrPermission, false},
		{other, "linux", other, false},
	} {
		err := explain(c.err, c.system)
		if !errors.Is(err, c.want) || strings.Contains(err.Error(), `"dialout"`) != c.hint {
			t.Errorf("%v on %s: %v", c.err, c.system, err)
		}
	}
}

func TestList(t *testing.T) {
	ports, err := List()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range ports {
		if p.Name == "" {
			t.Errorf("a port without a name: %+v", p)
		}
	}
}
