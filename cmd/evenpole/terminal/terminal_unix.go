//go:build linux || darwin || freebsd || netbsd || openbsd

package terminal

import (
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// isTerminal reports whether a file is a terminal.
func isTerminal(f *os.File) bool {
	_, err := unix.IoctlGetTermios(int(f.Fd()), askTermios)
	return err == nil
}

// prepare has a terminal obey control sequences, which all of these do.
func prepare(io.Writer) bool { return true }
