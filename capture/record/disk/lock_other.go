//go:build !windows

package disk

import (
	"errors"
	"os"
	"syscall"
)

// tryLock locks a file for this process unless another one has it.
func tryLock(f *os.File) (free bool, err error) {
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return false, nil
	}
	return err == nil, err
}
