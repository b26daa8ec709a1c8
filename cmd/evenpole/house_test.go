package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// mayImport is the house's plan: which rooms a room's own code may import.
// Data flows one way; a new arrow is a decision, made here and in
// DEVELOPERS.md.
var mayImport = map[string][]string{
	"jig":         {},
	"jig/sim":     {"jig", "fit/field"},
	"jig/jigtest": {},
	"jig/verify":  {"jig", "profiles"},
	"profiles":    {"capture/record/disk"},

	"capture/record/disk":    {},
	"capture/record/table":   {},
	"capture/record/sheet":   {"profiles", "capture/record/table"},
	"capture/record/pack":    {},
	"capture/record/numbers": {"capture/record/pack"},
	"capture/record":         {"profiles", "capture/record/disk", "capture/record/numbers", "capture/record/pack", "capture/record/sheet", "capture/record/table"},
	"capture":                {"jig", "recording", "capture/record", "profiles"},

	"fit/field":   {},
	"fit/level":   {},
	"fit/solve":   {},
	"fit/cell":    {"capture/record", "capture/record/pack", "profiles", "fit/field", "fit/level", "fit/solve"},
	"fit/curve":   {"profiles", "fit/cell", "fit/level", "fit/solve"},
	"fit/screen":  {"profiles", "fit/cell", "fit/curve", "fit/level", "fit/solve"},
	"fit":         {"profiles", "capture/record/disk", "fit/cell", "fit/curve", "fit/level", "fit/solve"},
	"fit/explain": {"profiles", "fit", "fit/cell", "fit/curve", "fit/level", "fit/solve"},
	"fit/next":    {"profiles", "fit", "fit/cell", "fit/curve", "fit/level", "fit/solve"},

	"fit/layout":  {"profiles", "fit", "fit/cell", "fit/curve", "fit/field", "fit/solve"},
	"fit/plan":    {"profiles", "fit", "fit/cell", "fit/layout", "fit/level", "fit/solve"},
	"fit/verdict": {"profiles", "capture/record", "fit", "fit/cell", "fit/curve", "fit/field", "fit/level", "fit/solve"},
	"fit/batch":   {"profiles", "capture/record", "fit", "fit/cell", "fit/field", "fit/level", "fit/solve"},
	"fit/repeat":  {"profiles", "capture/record", "capture/record/sheet", "fit", "fit/cell", "fit/level", "fit/solve"},
	"fit/drift":   {"profiles", "capture/record", "fit", "fit/cell", "fit/level"},
	"fit/gain":    {"profiles", "capture/record", "capture/record/disk", "capture/record/sheet", "fit", "fit/cell", "fit/level", "fit/solve"},

	"report":     {"profiles", "capture/record/table", "fit", "fit/batch", "fit/drift", "fit/explain", "fit/level", "fit/plan", "fit/verdict", "report/pdf"},
	"report/pdf": {},
	"shop": {"profiles", "recording", "capture", "capture/record", "capture/record/disk", "capture/record/pack", "capture/record/table", "fit", "fit/batch", "fit/cell", "fit/drift", "fit/explain", "fit/field", "fit/gain", "fit/layout", "fit/level",
		"fit/next", "fit/plan", "fit/repeat", "fit/screen", "fit/verdict", "report"},
	"shop/workshop": {"profiles", "jig/sim"},

	"share":                 {"profiles", "capture/record", "capture/record/disk", "capture/record/table", "fit/gain", "shop"},
	"share/folder":          {"capture/record/disk", "share"},
	"share/postgres":        {"capture/record/disk", "share"},
	"share/postgres/pgtest": {},
	"share/sharetest":       {"capture/record", "capture/record/table", "share", "shop"},

	"page": {"profiles", "jig", "capture", "capture/record", "capture/record/table", "fit", "fit/batch", "fit/drift", "fit/cell", "fit/explain", "fit/level", "fit/next", "fit/plan",
		"fit/repeat", "fit/verdict", "report", "shop"},

	"recording":           {"jig", "profiles"},
	"recording/soundtest": {},

	"firmware-notes": {},
	"cmd/evenpole":   {"*"},

	"cmd/evenpole/terminal": {},

	"capture/record/recordtest": {"capture/record", "profiles"},
	"fit/cell/celltest":         {"capture/record", "capture/record/recordtest", "fit/cell", "profiles"},
	"fit/field/fieldtest":       {},
	"fit/curve/curvetest":       {"capture/record", "fit/cell", "fit/curve", "profiles"},
}

// TestModelsKnowNoPort: what reads a record must build and run where no serial
// port can be had.
func TestModelsKnowNoPort(t *testing.T) {
	var reach func(room string, seen map[string]bool)
	reach = func(room string, seen map[string]bool) {
		for _, next := range mayImport[room] {
			if !seen[next] {
				seen[next] = true
				reach(next, seen)
			}
		}
	}
	for room := range mayImport {
		if !strings.HasPrefix(room, "fit") {
			continue
		}
		seen := map[string]bool{}
		reach(room, seen)
		if seen["jig"] || seen["capture"] {
			t.Errorf("%s reaches the jig", room)
		}
	}
}

func TestRoomsImportOneWay(t *testing.T) {
	root := filepath.Join("..", "..")
	seen := map[string]bool{}
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == "testdata" || strings.HasPrefix(d.Name(), ".") && file != root) {
			return filepath.SkipDir
		}
		if !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
			return nil
		}
		rel, err := filepath.Rel(root, file)
		if err != nil {
			return err
		}
		room := path.Dir(filepath.ToSlash(rel))
		if strings.HasPrefix(room, "bench") { // measures from outside, may use everything
			return nil
		}
		seen[room] = true
		allowed, known := mayImport[room]
		if !known {
			t.Errorf("%s: room %q is not in the plan of the house", rel, room)
			return nil
		}
		checkImports(t, file, allowed)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(seen) < 9 {
		t.Errorf("saw only %d rooms: the walk is broken", len(seen))
	}
}

// TestCSVIsWrittenInOnePlace: a cell that a spreadsheet would take for a formula is
// guarded there.
func TestCSVIsWrittenInOnePlace(t *testing.T) {
	root := filepath.Join("..", "..")
	seen := 0
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Ext(file) != ".go" || strings.HasSuffix(file, "_test.go") {
			return err
		}
		text, err := os.ReadFile(file)
		if strings.Contains(string(text), "csv.NewWriter(") {
			seen++
			if rel, err := filepath.Rel(root, file); err != nil || filepath.ToSlash(rel) != "capture/record/table/csv.go" {
				t.Errorf("%s writes CSV by itself: use table.WriteLines", file)
			}
		}
		return err
	})
	if err != nil || seen == 0 {
		t.Errorf("%d files that write CSV, %v", seen, err)
	}
}

func checkImports(t *testing.T, file string, allowed []string) {
	t.Helper()
	f, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
	if err != nil {
		t.Error(err)
		return
	}
	for _, spec := range f.Imports {
		p, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			t.Error(err)
			continue
		}
		room, ours := strings.CutPrefix(p, "evenpole/")
		if ours && !slices.Contains(allowed, room) && !slices.Contains(allowed, "*") {
			t.Errorf("%s imports %s: the house has no such arrow", file, p)
		}
	}
}
