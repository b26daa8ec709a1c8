//go:build linux || darwin

package record

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"evenpole/capture/record/disk"
)

// A shop that came from someone else has links and pipes under the names of its files:
// nothing is written through them, and nothing waits for them.
func TestAShopWithLinksAndPipes(t *testing.T) {
	for _, name := range []string{ReadingsFile, FieldsFile, SessionsFile, "readings.seals.csv", disk.LockFile} {
		for _, kind := range []string{"link", "pipe"} {
			root := t.TempDir()
			dir, target := filepath.Join(root, "shop"), filepath.Join(root, "mine.csv")
			const mine = "mine\nand the last line has no end"
			if err := errors.Join(os.Mkdir(dir, 0o755), os.WriteFile(target, []byte(mine), 0o644)); err != nil {
				t.Fatal(err)
			}
			makeIt := func() error { return os.Symlink(target, filepath.Join(dir, name)) }
			if kind == "pipe" {
				makeIt = func() error { return syscall.Mkfifo(filepath.Join(dir, name), 0o644) }
			}
			if err := makeIt(); err != nil {
				t.Fatal(err)
			}
			if s, err := OpenWriter(dir); err == nil || !strings.Contains(err.Error(), "expected a plain file, got a "+kind) {
				t.Errorf("%s as a %s: %v", name, kind, err)
				if err == nil {
					s.Close()
				}
			}
			if kind == "pipe" && name != disk.LockFile {
				if _, err := Open(filepath.Join(dir, name)); err == nil {
					t.Errorf("%s as a pipe is read", name)
				}
			}
			if got := text(t, target); got != mine {
				t.Errorf("%s as a %s: the target is now %q", name, kind, got)
			}
			if entries, _ := os.ReadDir(root); len(entries) != 2 {
				t.Errorf("%s as a %s: made %v", name, kind, entries)
			}
		}
	}
}
