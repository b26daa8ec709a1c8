package disk

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"
)

// ErrInUse says that another process is writing to the shop.
var ErrInUse = errors.New("shop is in use")

// LockFile is held, by the system's own means, by the one process that may
// write to a shop. Its text names that process; it is empty when there is none.
const LockFile = "writer.lock"

// holder is what a lock file says of who holds it.
type holder struct {
	process int
	host    string
	since   string // RFC 3339
}

func (h holder) String() string {
	return fmt.Sprintf("process %d on %q since %s", h.process, h.host, h.since)
}

// parseHolder reads what String wrote; ok is false for any other text.
func parseHolder(text []byte) (h holder, ok bool) {
	n, _ := fmt.Sscanf(string(text), "process %d on %q since %s", &h.process, &h.host, &h.since)
	return h, n == 3
}

// TakeLock makes this process the one that writes to a shop, until the file is
// closed. The system lets go of the lock of a process that is gone; when such a
// one left its name behind, notice tells of it. A name from another host is not
// taken over, as not every network share passes locks on.
func TakeLock(dir string, now time.Time) (f *os.File, notice string, err error) {
	path := filepath.Join(dir, LockFile)
	host, err := os.Hostname()
	if err != nil {
		return nil, "", err
	}
	f, err = os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, "", &WriteError{path, err}
	}
	defer func() {
		if err != nil {
			f.Close()
		}
	}()
	free, err := tryLock(f)
	if err != nil {
		return nil, "", fmt.Errorf("lock %s: %w", path, err)
	}
	if err := stillNamed(f, path); err != nil {
		return nil, "", err
	}
	text, err := io.ReadAll(f)
	if err != nil {
		return nil, "", err
	}
	was, named := parseHolder(text)
	switch {
	case !free && named:
		return nil, "", fmt.Errorf("%w: %v", ErrInUse, was)
	case !free:
		return nil, "", fmt.Errorf("%w: another process has just taken %s", ErrInUse, path)
	case named && was.host != host:
		return nil, "", fmt.Errorf("%w: %v; if that is certainly over, delete %s", ErrInUse, was, path)
	case named:
		notice = fmt.Sprintf("%v did not let go of the shop and is gone: taken over", was)
	}
	return f, notice, sign(f, holder{os.Getpid(), host, now.UTC().Format(time.RFC3339)})
}

// stillNamed refuses a lock on a file that was deleted or replaced meanwhile:
// the next process would lock another one.
func stillNamed(f *os.File, path string) error {
	ours, err := f.Stat()
	if err != nil {
		return err
	}
	named, err := os.Stat(path)
	if err != nil || !os.SameFile(ours, named) {
		return fmt.Errorf("%w: %s was deleted or replaced just now, try again", ErrInUse, path)
	}
	return nil
}

// BeingWritten tells whether a process is writing to a shop, or was cut short
// while it did.
func BeingWritten(dir string) bool {
	info, err := os.Stat(filepath.Join(dir, LockFile))
	return err == nil && info.Size() > 0
}

// sign writes the holder's name into the lock file.
func sign(f *os.File, h holder) error {
	if err := f.Truncate(0); err != nil {
		return err
	}
	if _, err := f.WriteAt([]byte(h.String()+"\n"), 0); err != nil {
		return err
	}
	return f.Sync()
}

// LetGo takes the name off the lock and gives it up.
func LetGo(f *os.File) error {
	return errors.Join(f.Truncate(0), f.Close())
}
