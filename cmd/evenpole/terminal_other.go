//go:build !linux && !darwin && !freebsd && !netbsd && !openbsd && !windows

package main

import (
	"io"
	"os"
)

func terminalFile(*os.File) bool { return false }

func prepareTerminal(io.Writer) bool { return false }
