package cell

import (
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
)

// Cells share their mountings: to alter one through a cell would alter it for all. No
// package of the program, nor its tests, assigns to a field of a mounting through a cell.
func TestMountingsAreAlteredByRemountAlone(t *testing.T) {
	s := sources{root: "../..", fset: token.NewFileSet(), known: map[string]*types.Package{}}
	through := func(sel *ast.SelectorExpr, info *types.Info) bool {
		x := info.Selections[sel]
		return x != nil && len(x.Index()) == 2 && strings.HasSuffix(x.Recv().String(), "/fit/cell.Cell")
	}
	fields := 0
	err := filepath.WalkDir(s.root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil || !d.IsDir():
			return err
		case d.Name() == "testdata" || strings.HasPrefix(d.Name(), ".") && path != s.root:
			return fs.SkipDir
		}
		room, err := filepath.Rel(s.root, path)
		for _, p := range s.check("evenpole/"+filepath.ToSlash(room), true) {
			fields += len(p.info.Selections)
			for _, sel := range p.assigned() {
				if through(sel, p.info) {
					t.Errorf("%s: cells share their mountings, and this alters %s for all of them: use Remount", s.fset.Position(sel.Pos()), sel.Sel.Name)
				}
			}
		}
		return err
	})
	if err != nil || len(s.known) < 20 || fields < 10_000 {
		t.Fatalf("%d packages with %d fields, %v", len(s.known), fields, err)
	}
}

// sources are the packages of the program, with their types as far as its own packages
// say; what others declare is not known.
type sources struct {
	root  string
	fset  *token.FileSet
	known map[string]*types.Package
}

// sourcePackage is one as it stands in its files.
type sourcePackage struct {
	files []*ast.File
	info  *types.Info
	types *types.Package
}

// Import satisfies [types.Importer].
func (s *sources) Import(path string) (*types.Package, error) {
	if s.known[path] == nil {
		s.known[path] = types.NewPackage(path, filepath.Base(path)) // of another module
		if strings.HasPrefix(path, "evenpole/") {
			for _, p := range s.check(path, false) {
				s.known[path] = p.types
			}
		}
		s.known[path].MarkComplete()
	}
	return s.known[path], nil
}

// check reads the package of a folder, or the two with its tests'.
func (s *sources) check(path string, tests bool) map[string]*sourcePackage {
	names, _ := filepath.Glob(filepath.Join(s.root, strings.TrimPrefix(path, "evenpole/"), "*.go"))
	out := map[string]*sourcePackage{}
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") && !tests {
			continue
		}
		f, err := parser.ParseFile(s.fset, name, nil, parser.SkipObjectResolution)
		if err != nil {
			continue // the compiler says so
		}
		p := out[f.Name.Name]
		if p == nil {
			p = &sourcePackage{info: &types.Info{Selections: map[*ast.SelectorExpr]*types.Selection{}}}
			out[f.Name.Name] = p
		}
		p.files = append(p.files, f)
	}
	for _, p := range out {
		p.types, _ = (&types.Config{Importer: s, Error: func(error) {}}).Check(path, s.fset, p.files, p.info)
	}
	return out
}

// assigned are the fields that statements assign to.
func (p *sourcePackage) assigned() (out []*ast.SelectorExpr) {
	add := func(list ...ast.Expr) {
		for _, e := range list {
			if sel, ok := e.(*ast.SelectorExpr); ok {
				out = append(out, sel)
			}
		}
	}
	for _, f := range p.files {
		ast.Inspect(f, func(n ast.Node) bool {
			switch x := n.(type) {
			case *ast.AssignStmt:
				add(x.Lhs...)
			case *ast.IncDecStmt:
				add(x.X)
			}
			return true
		})
	}
	return out
}
