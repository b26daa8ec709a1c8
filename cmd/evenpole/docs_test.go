package main

import (
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// othersFlags are flags that no command of ours declares: of other programs, or cobra's own.
var othersFlags = []string{"--help", "--no-install-recommends"}

// TestDocumentsNameFlagsThatAreThere: a flag that README.md and its like name is one of some command.
func TestDocumentsNameFlagsThatAreThere(t *testing.T) {
	known := slices.Clone(othersFlags)
	_ = eachCommand(newRootCmd(&env{}, new(bool)), func(cmd *cobra.Command) error {
		for _, set := range []*pflag.FlagSet{cmd.Flags(), cmd.InheritedFlags()} {
			set.VisitAll(func(f *pflag.Flag) { known = append(known, "--"+f.Name) })
		}
		return nil
	})
	flag := regexp.MustCompile(`(?:^|[^\w-])(--[a-z][a-z0-9-]*)`)
	seen := 0
	for _, name := range []string{"README.md", "DEVELOPERS.md", "CHANGELOG.md", "firmware-notes/README.md"} {
		for _, m := range flag.FindAllStringSubmatch(textOf(t, name), -1) {
			if seen++; !slices.Contains(known, m[1]) {
				t.Errorf("%s names %s, which no command has", name, m[1])
			}
		}
	}
	if seen < 100 {
		t.Errorf("saw only %d flags", seen)
	}
}

// TestDocumentsNameFilesThatAreThere: a path in DEVELOPERS.md is one of the repository, but for those of a shop,
// and a link of any document leads somewhere.
func TestDocumentsNameFilesThatAreThere(t *testing.T) {
	seen := 0
	look := func(name, path string) {
		if seen++; !exists(filepath.Join("..", "..", path)) {
			t.Errorf("%s names %s, which is not there", name, path)
		}
	}
	for _, m := range regexp.MustCompile("`([a-z.][A-Za-z0-9_.-]*/[A-Za-z0-9_./-]*)`").FindAllStringSubmatch(textOf(t, "DEVELOPERS.md"), -1) {
		if !strings.HasPrefix(m[1], "shared/") {
			look("DEVELOPERS.md", m[1])
		}
	}
	for _, name := range []string{"README.md", "DEVELOPERS.md", "CHANGELOG.md", "firmware-notes/README.md"} {
		for _, m := range regexp.MustCompile(`\]\(([a-zA-Z][^):#]*)[#)]`).FindAllStringSubmatch(textOf(t, name), -1) {
			look(name, filepath.Join(filepath.Dir(name), m[1]))
		}
	}
	if seen < 50 {
		t.Errorf("saw only %d paths", seen)
	}
}

// forSystems is what a file's name ends in that is for some systems only: a comment may name it without.
var forSystems = regexp.MustCompile(`_(linux|darwin|windows|bsd|unix|other)\.go$`)

// TestPackageCommentsTellTheWay: the comment of a package of more than three files names each of them, but
// the one that it stands in, and none that is not there. A command's file has the command's name.
func TestPackageCommentsTellTheWay(t *testing.T) {
	told := 0
	for room := range mayImport {
		files, home, comment := filesOf(t, room)
		if len(files) <= 3 {
			continue
		}
		named := regexp.MustCompile(`\b[a-z][a-z0-9_]*\.go\b`).FindAllString(comment, -1)
		there := []string{home}
		for _, name := range files {
			plain := forSystems.ReplaceAllString(name, ".go")
			there = append(there, name, plain)
			command := room == "cmd/evenpole" && strings.HasPrefix(name, "record")
			if plain != home && !command && !slices.Contains(named, name) && !slices.Contains(named, plain) {
				t.Errorf("the comment of package %s does not name %s", room, name)
			}
		}
		for _, name := range named {
			if told++; !slices.Contains(there, name) {
				t.Errorf("the comment of package %s names %s, which is not there", room, name)
			}
		}
	}
	if told < 300 {
		t.Errorf("saw only %d names of files", told)
	}
}

// filesOf are the files of a room but its tests, and its package comment with the file that it stands in.
func filesOf(t *testing.T, room string) (names []string, home, comment string) {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join("..", "..", room, "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ParseComments|parser.PackageClauseOnly)
		if err != nil {
			t.Fatal(err)
		}
		names = append(names, filepath.Base(path))
		if text := f.Doc.Text(); len(text) > len(comment) {
			home, comment = filepath.Base(path), text
		}
	}
	return names, home, comment
}

// TestDependenciesAreExplained: DEVELOPERS.md says of each module that is asked for why it is.
func TestDependenciesAreExplained(t *testing.T) {
	text := textOf(t, "DEVELOPERS.md")
	text = text[strings.Index(text, "## Dependencies"):]
	modules := regexp.MustCompile(`(?m)^\t(\S+) v\S+$`).FindAllStringSubmatch(textOf(t, "go.mod"), -1)
	for _, m := range modules {
		if !regexp.MustCompile(`(?m)^\|.*` + regexp.QuoteMeta(m[1]) + `[ ,].*\|`).MatchString(text) {
			t.Errorf("DEVELOPERS.md does not say why there is %s", m[1])
		}
	}
	if len(modules) < 10 {
		t.Errorf("saw only %d modules", len(modules))
	}
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// textOf is a text at the top of the repository.
func textOf(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
