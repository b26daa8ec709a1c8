package disk

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// farAway is the offset of the byte that is locked. Windows keeps others from
// reading what is locked, and the holder's name is to be read.
const farAway = 1 << 30

// tryLock locks a file for this process unless another one has it.
func tryLock(f *os.File) (free bool, err error) {
	err = windows.LockFileEx(windows.Handle(f.Fd()),
		windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY,
		0, 1, 0, &windows.Overlapped{Offset: farAway})
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return false, nil
	}
	return err == nil, err
}
