package profiles

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// read returns a file under testdata.
func read(t testing.TB, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// files lists the files of a pattern under testdata, of which there must be
// some.
func files(t testing.TB, pattern string) []string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join("testdata", pattern))
	if err != nil {
		t.Fatal(err)
	}
	if len(names) == 0 {
		t.Fatalf("no files match %q", pattern)
	}
	return names
}

// shop returns the library of the shop under testdata.
func shop(t testing.TB) *Library {
	t.Helper()
	l, err := LoadLibrary(filepath.Join("testdata", "shop"))
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// slip is a file with one mistake in it: old, which stands once in the base
// file, replaced by new.
type slip struct {
	name     string
	old, new string
	want     string // the whole error
}

// trySlips makes each slip in base and compares the error.
func trySlips(t *testing.T, base string, slips []slip, parse func(text []byte) error) {
	for _, s := range slips {
		t.Run(s.name, func(t *testing.T) {
			if n := strings.Count(base, s.old); n != 1 {
				t.Fatalf("%q stands %d times in the base file", s.old, n)
			}
			err := parse([]byte(strings.Replace(base, s.old, s.new, 1)))
			if err == nil {
				t.Fatal("no error")
			}
			if err.Error() != s.want {
				t.Errorf("got  %s\nwant %s", err, s.want)
			}
		})
	}
}
