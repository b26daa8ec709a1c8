package main

import (
	"bytes"
	"encoding"
	"encoding/json"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
)

// snakeCase is what every key of every document is in.
var snakeCase = regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*$`)

// TestKeysOfDocuments walks the types of all documents: every key is in snake
// case, and no key comes twice.
func TestKeysOfDocuments(t *testing.T) {
	if len(documents) < 20 {
		t.Errorf("%d documents: some are not registered", len(documents))
	}
	for _, d := range documents {
		for _, wrong := range badKeys(d) {
			t.Errorf("%v: %s", d, wrong)
		}
	}
}

// TestBadKeysAreFound: the walk sees what it is for.
func TestBadKeysAreFound(t *testing.T) {
	type inner struct {
		Off float64 `json:"U_db"`
	}
	type Embedded struct {
		NoTag int
		Fine  int `json:"fine_2"`
		out   int
	}
	type document struct {
		Embedded
		List  []*inner         `json:"list"`
		Map   map[string]inner `json:"map,omitempty"`
		Never int              `json:"-"`
		Again *document        `json:"again"`
	}
	_ = Embedded{out: 1}
	got := badKeys(reflect.TypeFor[[]document]())
	if want := []string{`key "NoTag"`, `key "U_db"`}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	for text, want := range map[string]string{
		`{"a_b": [{"c": {"Dd": 1}}]}`: `"Dd"`, `[{"a-b": null}]`: `"a-b"`, `{"a": {"b_": 1}}`: `"b_"`, `{} {}`: "after top-level value",
	} {
		if err := keysOf([]byte(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v, want %s", text, err, want)
		}
	}
	if err := keysOf([]byte(`{"a1": [1, {"b_2c": "X_Y"}], "c": "D"}`)); err != nil {
		t.Error(err)
	}
}

var (
	jsonMarshaler = reflect.TypeFor[json.Marshaler]()
	textMarshaler = reflect.TypeFor[encoding.TextMarshaler]()
)

// badKeys lists the keys in which values of a type are written that are not in
// snake case, sorted.
func badKeys(t reflect.Type) []string {
	bad, seen := map[string]bool{}, map[reflect.Type]bool{}
	var walk func(t reflect.Type)
	walk = func(t reflect.Type) {
		if seen[t] || t.Implements(jsonMarshaler) || t.Implements(textMarshaler) {
			return
		}
		seen[t] = true
		switch t.Kind() {
		case reflect.Pointer, reflect.Slice, reflect.Array, reflect.Map:
			walk(t.Elem())
		case reflect.Interface: // what is in it cannot be told beforehand
			bad[fmt.Sprintf("a value of any type, %v", t)] = true
		case reflect.Struct:
			for i := range t.NumField() {
				f := t.Field(i)
				name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
				switch {
				case name == "-", !f.IsExported() && !f.Anonymous:
					continue
				case name == "" && f.Anonymous:
				case name == "":
					name = f.Name
					fallthrough
				default:
					if !snakeCase.MatchString(name) {
						bad[fmt.Sprintf("key %q", name)] = true
					}
				}
				walk(f.Type)
			}
		}
	}
	walk(t)
	return slices.Sorted(maps.Keys(bad))
}

// TestDocumentsAreTheOneWay: nothing but document.write makes JSON here.
func TestDocumentsAreTheOneWay(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") || file == "json.go" {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			spec, ok := n.(*ast.ImportSpec)
			if ok && spec.Path.Value == `"encoding/json"` {
				t.Errorf("%s makes JSON: see document in json.go", file)
			}
			return true
		})
	}
}

// checkedMain is the program in scripts: what it prints with --json is one
// document whose keys are in snake case. It tells of no step, however slow the machine is.
func checkedMain() {
	patience = time.Hour
	var printed bytes.Buffer
	out := io.Writer(os.Stdout)
	if slices.Contains(os.Args, "--json") {
		out = io.MultiWriter(os.Stdout, &printed)
	}
	status := run(interruptible(), os.Args[1:], os.Stdin, out, os.Stderr)
	if printed.Len() > 0 {
		if err := keysOf(printed.Bytes()); err != nil {
			fmt.Fprintf(os.Stderr, "%s: %v\n", strings.Join(os.Args, " "), err)
			os.Exit(badDocument)
		}
	}
	os.Exit(status)
}

// badDocument is an exit status that no script expects.
const badDocument = 99

// keysOf returns an error for text that is not one JSON document, or has a key in
// it that is not in snake case.
func keysOf(text []byte) error {
	var document any
	if err := json.Unmarshal(text, &document); err != nil {
		return err
	}
	var walk func(v any) error
	walk = func(v any) error {
		switch v := v.(type) {
		case []any:
			for _, x := range v {
				if err := walk(x); err != nil {
					return err
				}
			}
		case map[string]any:
			for key, x := range v {
				if !snakeCase.MatchString(key) {
					return fmt.Errorf("key %q is not in snake case", key)
				}
				if err := walk(x); err != nil {
					return err
				}
			}
		}
		return nil
	}
	return walk(document)
}
