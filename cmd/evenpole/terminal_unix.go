//go:build linux || darwin || freebsd || netbsd || openbsd

package main

import (
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// terminalFile reports whether a file is a terminal.
func terminalFile(f *os.File) bool {
	_, err := unix.IoctlGetTermios(int(f.Fd()), askTermios)
	return err == nil
}

// prepareTerminal has a terminal obey control sequences, which all of these do.
func prepareTerminal(io.Writer) bool { return true }
