package record

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestSynchronisedFolders(t *testing.T) {
	for _, name := range syncRoots {
		t.Setenv(name, "")
	}
	root := t.TempDir()
	dir := filepath.Join(root, "bench", "shop")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if got := dangers(dir); len(got) != 0 {
		t.Fatalf("dangers of a plain folder: %q", got)
	}
	for name, folder := range map[string]bool{".stfolder": true, ".dropbox": false, ".sync_0123abcd.db": false} {
		path := filepath.Join(root, name)
		mark := func(folder bool) {
			os.RemoveAll(path)
			if folder {
				os.Mkdir(path, 0o755)
			} else {
				os.WriteFile(path, nil, 0o644)
			}
		}
		mark(folder)
		if got := dangers(dir); len(got) != 1 || !strings.Contains(got[0], "synchronised folder (there is "+path+")") {
			t.Errorf("%s: %q", name, got)
		}
		mark(!folder)
		if got := dangers(dir); len(got) != 0 {
			t.Errorf("%s of the other kind: %q", name, got)
		}
		os.RemoveAll(path)
	}
	under := filepath.Join(root, "Library", "CloudStorage", "Files", "shop")
	if err := os.MkdirAll(under, 0o755); err != nil {
		t.Fatal(err)
	}
	if got := syncMark(under); !strings.HasPrefix(got, "it is under ") {
		t.Errorf("got %q", got)
	}
	t.Setenv(syncRoots[0], filepath.Join(root, "bench"))
	s, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if len(s.Notices) != 1 || !strings.Contains(s.Notices[0], "names "+filepath.Join(root, "bench")) {
		t.Errorf("notices %q", s.Notices)
	}
	if got := syncMark(root); got != "" {
		t.Errorf("the folder above is taken for synchronised: %q", got)
	}
}

// A reader sees whole rows only, while a writer is at work.
func TestReadersSeeWholeRows(t *testing.T) {
	for size, tail := range []string{"", "x", strings.Repeat("y", 5000)} {
		s := mustShop(t, nil)
		if err := s.readings.append(sampleRow(1)); err != nil {
			t.Fatal(err)
		}
		whole := text(t, s.path(ReadingsFile))
		if _, err := s.readings.file.Write([]byte(tail)); err != nil {
			t.Fatal(err)
		}
		for _, writing := range []bool{true, false} {
			if !writing { // a person's file may end without an end of line
				s.Close()
				whole += tail
			}
			f, err := openNow(s.path(ReadingsFile))
			if err != nil {
				t.Fatal(err)
			}
			got := make([]byte, f.Size())
			if _, err := f.Read(got); err != nil || string(got) != whole {
				t.Errorf("tail %d, writing %v: %q, %v", size, writing, got, err)
			}
			f.Close()
		}
	}
}

func TestALockFileThatWasDeleted(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, lockFile)
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := stillNamed(f, path); err != nil {
		t.Error(err)
	}
	if err := os.Rename(path, path+".old"); err != nil {
		t.Skip(err) // not everywhere may an open file be renamed
	}
	for range 2 {
		if err := stillNamed(f, path); err == nil {
			t.Error("a lock that nobody else would find is taken for one")
		}
		os.WriteFile(path, nil, 0o644) // another one in its place
	}
}
