package disk

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// ErrInUse says that another process is writing to the shop.
var ErrInUse = errors.New("shop is in use")

// ErrNoLocks says that the file system of a shop cannot keep a second writer out.
var ErrNoLocks = errors.New("the file system has no locks, so that nothing keeps a second writer out")

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

// OpenMark is made before a writer's first row, and goes when the writer has let go of
// the shop. It tells of a crash even where the lock file was deleted, as it may be when
// the host that it names is lost or has another name now.
const OpenMark = "writer.open"

// A Lock is held by the one process that may write to a shop.
type Lock struct {
	dir    string
	host   string
	file   *os.File
	marked bool // the mark was made, or found
}

// TakeLock makes this process the one that may write to a shop, until the lock is
// closed. The system lets go of the lock of a process that is gone; when such a one
// was cut short, notice tells of it. A name from another host is not taken over, as
// not every network share passes locks on. Nothing is written: what a crash left stays
// to be seen until Sign.
func TakeLock(dir string) (l *Lock, notice string, err error) {
	host, err := os.Hostname()
	if err != nil {
		return nil, "", err
	}
	l = &Lock{dir: dir, host: host}
	path := l.path(LockFile)
	l.file, err = OpenOwn(path, os.O_RDWR|os.O_CREATE)
	if kind := (*KindError)(nil); errors.As(err, &kind) {
		return nil, "", err
	}
	if err != nil {
		return nil, "", &WriteError{path, err}
	}
	if notice, err = l.take(); err != nil {
		l.file.Close()
		return nil, "", err
	}
	return l, notice, nil
}

// take locks the file that was opened.
func (l *Lock) take() (notice string, err error) {
	path := l.path(LockFile)
	free, err := tryLock(l.file)
	if err != nil {
		return "", fmt.Errorf("lock %s: %w: %w", path, ErrNoLocks, err)
	}
	if err := stillNamed(l.file, path); err != nil {
		return "", fmt.Errorf("%w: %s was deleted or replaced just now, try again", ErrInUse, path)
	}
	text, err := io.ReadAll(l.file)
	if err != nil {
		return "", err
	}
	l.marked = isThere(l.path(OpenMark))
	return l.before(free, text)
}

// before says from the text of the lock file who had the shop before.
func (l *Lock) before(free bool, text []byte) (notice string, err error) {
	was, named := parseHolder(text)
	path := l.path(LockFile)
	switch {
	case !free && named:
		return "", fmt.Errorf("%w: %v", ErrInUse, was)
	case !free:
		return "", fmt.Errorf("%w: another process has just taken %s", ErrInUse, path)
	case named && was.host != l.host:
		return "", fmt.Errorf("%w: %v; if that is certainly over, delete %s", ErrInUse, was, path)
	case named:
		return fmt.Sprintf("%v did not let go of the shop and is gone: taken over", was), nil
	case !mayBeName(text):
		return "", fmt.Errorf("%w: %s: expected the name of a process, got another text; it is left as it is: move it elsewhere", ErrInUse, path)
	case len(text) > 0 || l.marked:
		return "a process that is not named any more did not let go of the shop: taken over", nil
	}
	return "", nil
}

// mayBeName tells whether a text is a name, or what a power cut can leave of one.
func mayBeName(text []byte) bool {
	const start = "process "
	text = bytes.TrimRight(text, "\x00")
	return bytes.HasPrefix(text, []byte(start)) || bytes.HasPrefix([]byte(start), text)
}

func (l *Lock) path(name string) string { return filepath.Join(l.dir, name) }

func isThere(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// Sign writes this process's name into the lock file. It writes over what stands there,
// so that no power cut leaves the file empty, as if the writer before had let go.
func (l *Lock) Sign(now time.Time) error {
	text := holder{os.Getpid(), l.host, now.UTC().Format(time.RFC3339)}.String() + "\n"
	_, err := l.file.WriteAt([]byte(text), 0)
	if err == nil {
		err = l.file.Truncate(int64(len(text)))
	}
	if err == nil {
		err = errors.Join(l.file.Sync(), SyncDir(l.dir))
	}
	if err != nil {
		return &WriteError{l.path(LockFile), err}
	}
	return nil
}

// Mark makes the mark that rows are being written. It is on the disk when Mark returns
// nil.
func (l *Lock) Mark() error {
	path := l.path(OpenMark)
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err == nil {
		err = f.Close()
	}
	if err == nil || errors.Is(err, fs.ErrExist) {
		err = SyncDir(l.dir)
	}
	if err != nil {
		return &WriteError{path, err}
	}
	l.marked = true
	return nil
}

// Check refuses a lock whose file was deleted or replaced meanwhile: another process
// may be writing, too.
func (l *Lock) Check() error { return stillNamed(l.file, l.path(LockFile)) }

// LetGo takes mark and name away, in this order, and gives the lock up. What was
// written must be on the disk.
func (l *Lock) LetGo() error {
	err := l.Check()
	if err == nil && l.marked {
		if err = os.Remove(l.path(OpenMark)); errors.Is(err, fs.ErrNotExist) {
			err = nil
		}
		err = errors.Join(err, SyncDir(l.dir))
	}
	if err == nil {
		err = errors.Join(l.file.Truncate(0), l.file.Sync())
	}
	return errors.Join(err, l.file.Close())
}

// Close gives the lock up and leaves name and mark, for the next writer to see that
// there is something to put right.
func (l *Lock) Close() error { return l.file.Close() }

// stillNamed refuses a lock on a file that was deleted or replaced meanwhile:
// the next process would lock another one.
func stillNamed(f *os.File, path string) error {
	ours, err := f.Stat()
	if err != nil {
		return err
	}
	named, err := os.Stat(path)
	if err != nil || !os.SameFile(ours, named) {
		return &WriteError{path, ErrMoved}
	}
	return nil
}

// BeingWritten tells whether a process is writing to a shop, or was cut short
// while it did.
func BeingWritten(dir string) bool {
	info, err := os.Stat(filepath.Join(dir, LockFile))
	return err == nil && info.Size() > 0 || isThere(filepath.Join(dir, OpenMark))
}
