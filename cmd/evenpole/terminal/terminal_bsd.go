//go:build darwin || freebsd || netbsd || openbsd

package terminal

import "golang.org/x/sys/unix"

const askTermios = unix.TIOCGETA
