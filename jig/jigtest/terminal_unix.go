//go:build linux || darwin

package jigtest

import (
	"fmt"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// OpenTerminal opens a pseudo-terminal in raw mode.
func OpenTerminal() (*Terminal, error) {
	master, slave, err := pty.Open()
	if err != nil {
		return nil, fmt.Errorf("open a pseudo-terminal: %w", err)
	}
	if err := setRaw(int(slave.Fd())); err != nil {
		master.Close()
		slave.Close()
		return nil, fmt.Errorf("set %q raw: %w", slave.Name(), err)
	}
	return &Terminal{Path: slave.Name(), Master: master, slave: slave}, nil
}

// setRaw turns off all that a terminal does to bytes: echo, line editing,
// signals, flow control and line ends. (The flags of cfmakeraw, POSIX.1-2017
// chapter 11 names them one by one.)
func setRaw(fd int) error {
	t, err := unix.IoctlGetTermios(fd, getTermios)
	if err != nil {
		return err
	}
	t.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
	t.Oflag &^= unix.OPOST
	t.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
	t.Cflag &^= unix.CSIZE | unix.PARENB
	t.Cflag |= unix.CS8
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	return unix.IoctlSetTermios(fd, setTermios, t)
}
