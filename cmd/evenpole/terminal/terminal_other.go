//go:build !linux && !darwin && !freebsd && !netbsd && !openbsd && !windows

package terminal

import (
	"io"
	"os"
)

func isTerminal(*os.File) bool { return false }

func prepare(io.Writer) bool { return false }
