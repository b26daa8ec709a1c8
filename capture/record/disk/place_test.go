package disk

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
	if got := Dangers(dir); len(got) != 0 {
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
		if got := Dangers(dir); len(got) != 1 || !strings.Contains(got[0], "synchronised folder (there is "+path+")") {
			t.Errorf("%s: %q", name, got)
		}
		mark(!folder)
		if got := Dangers(dir); len(got) != 0 {
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
	if all := Dangers(dir); len(all) != 1 || !strings.Contains(all[0], "names "+filepath.Join(root, "bench")) {
		t.Errorf("dangers %q", all)
	}
	if got := syncMark(root); got != "" {
		t.Errorf("the folder above is taken for synchronised: %q", got)
	}
}

func TestALockFileThatWasDeleted(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, LockFile)
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
