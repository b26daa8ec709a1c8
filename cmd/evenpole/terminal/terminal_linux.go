package terminal

import "golang.org/x/sys/unix"

const askTermios = unix.TCGETS
