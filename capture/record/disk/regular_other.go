//go:build !windows

package disk

import "syscall"

// How a file is opened without waiting for the other end of a pipe, and not through a
// link.
const (
	nonBlocking = syscall.O_NONBLOCK
	noFollow    = syscall.O_NOFOLLOW
)
