package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// licenceName matches the names of files that hold a licence or a notice.
var licenceName = regexp.MustCompile(`(?i)^((un)?licen[cs]e|copying|notice|third_party_licen)`)

// TestNoticesAreOfThisBuild: the notices are those of the modules that any of the
// systems' programs is built from, in the versions of go.mod.
func TestNoticesAreOfThisBuild(t *testing.T) {
	want := notices(t)
	if *update {
		if err := os.WriteFile("notices.txt", []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if noticesText != want {
		t.Error("notices.txt is of other modules than the program: run this test with -update")
	}
}

// With --json the notices are one JSON document, too.
func TestNoticesAsJSON(t *testing.T) {
	var out, errs bytes.Buffer
	if got := run(t.Context(), []string{"notices", "--json"}, strings.NewReader(""), &out, &errs); got != exitDone {
		t.Fatalf("exit status %d: %s", got, &errs)
	}
	var doc noticesDocument
	if err := json.Unmarshal(out.Bytes(), &doc); err != nil || doc.Notices != strings.ToValidUTF8(noticesText, "\uFFFD") {
		t.Errorf("%v: %.60q", err, doc.Notices)
	}
}

// notices collects the licences.
func notices(t *testing.T) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("evenpole is built from the following, under these licences.\n")
	add := func(title, dir string) {
		for _, file := range licencesIn(t, dir) {
			text, err := os.ReadFile(filepath.Join(dir, file))
			if err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(&b, "\n%s\n%s: %s\n%s\n\n%s\n", strings.Repeat("=", 72), title, filepath.ToSlash(file), strings.Repeat("=", 72),
				strings.TrimSpace(strings.ReplaceAll(string(text), "\r\n", "\n")))
		}
	}
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		t.Fatal(err)
	}
	add("the Go standard library", strings.TrimSpace(string(root)))
	add("the font Droid Sans Fallback", filepath.Join("..", "..", "report", "pdf", "fonts"))
	for _, m := range linkedModules(t) {
		path, dir, _ := strings.Cut(m, "\t")
		add(path, dir)
	}
	return b.String()
}

// linkedModules are the modules that the program is built from on any system: name and
// version, and after a tab the folder.
func linkedModules(t *testing.T) []string {
	t.Helper()
	var all []string
	for _, system := range []string{"linux", "darwin", "windows"} {
		list := exec.Command("go", "list", "-deps", "-f", "{{with .Module}}{{if .Version}}{{.Path}} {{.Version}}\t{{.Dir}}{{end}}{{end}}", ".")
		list.Env = append(os.Environ(), "GOOS="+system, "CGO_ENABLED=0")
		out, err := list.Output()
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, strings.FieldsFunc(string(out), func(r rune) bool { return r == '\n' })...)
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// licencesIn lists the licences of a module, by the names of their files.
func licencesIn(t *testing.T, dir string) []string {
	t.Helper()
	var files []string
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(dir, path)
		top, _, deeper := strings.Cut(rel, string(filepath.Separator))
		switch {
		case d.IsDir() && rel != "." && !(licenceName.MatchString(top) && !deeper):
			return fs.SkipDir
		case !d.IsDir() && licenceName.MatchString(top):
			files = append(files, rel)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(files) == 0 {
		t.Errorf("%s has no licence that is found by its name", dir)
	}
	return files
}
