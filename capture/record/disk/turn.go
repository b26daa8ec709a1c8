package disk

import (
	"fmt"
	"os"
	"time"
)

// How long a turn is waited for, and how often it is looked whether it has come.
const (
	turnWait = 5 * time.Minute
	turnLook = 20 * time.Millisecond
)

// TakeTurn waits until no other process has its turn by a lock file, which it makes and
// leaves there empty, and keeps others waiting until release. The system ends the turn of a
// process that is gone. Where the file system has no locks nobody waits.
//
// Errors: ErrInUse when another process had its turn for five minutes; what the system has
// to say of the file.
func TakeTurn(path string) (release func(), err error) {
	f, err := OpenOwn(path, os.O_RDWR|os.O_CREATE)
	if err != nil {
		return nil, err
	}
	for end := time.Now().Add(turnWait); ; time.Sleep(turnLook) {
		switch free, err := tryLock(f); {
		case free || err != nil:
			return func() { f.Close() }, nil
		case time.Now().After(end):
			f.Close()
			return nil, fmt.Errorf("%w: another process has had %s for %v", ErrInUse, path, turnWait)
		}
	}
}
