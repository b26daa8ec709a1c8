package disk

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Where there are no locks, or the lock was deleted in the meantime, it is not had.
func TestALockThatIsNotHad(t *testing.T) {
	dir := t.TempDir()
	l, _, err := TakeLock(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.LetGo(); err != nil {
		t.Fatal(err)
	}
	if _, err := l.take(); err == nil || !strings.Contains(err.Error(), "has no locks") {
		t.Errorf("a file that cannot be locked: %v", err)
	}
	gone, err := os.CreateTemp(dir, "")
	if err != nil {
		t.Fatal(err)
	}
	defer gone.Close()
	if _, err := (&Lock{dir: dir, file: gone}).take(); !errors.Is(err, ErrInUse) {
		t.Errorf("another file in its place: %v", err)
	}
	if err := os.Remove(filepath.Join(dir, LockFile)); err != nil {
		t.Fatal(err)
	}
}
