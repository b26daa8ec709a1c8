package profiles

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// A Field is a key of a file as a form asks for it.
type Field struct {
	Key
	Path    string   // names it among all: "pickup.min_gap", "compare.0.name"
	Choices []string // the texts that it takes; nil where it is typed
	List    bool
	stem    string // the key without its unit
	kind    string
}

// Group is a table of a file as a form asks for it: once, or in several rows of which those
// that are empty make no table.
type Group struct {
	Head   string // as in the file: "[pickup]"; "" at the top
	Says   string
	Usual  bool // most files have it
	Rows   [][]Field
	Repeat bool
}

// Filled is what a person typed into the fields of a form, by path.
type Filled struct {
	Units Units // of lengths that are typed without one
	Typed map[string]string
}

// emptyRows is how many rows of a table a form has beside those that are filled in.
const emptyRows = 2

// Form lists the fields of a file, with as many rows of its tables as are filled in and
// some more; of the strings, as many as there can be.
func (f *Format) Form(in Filled) []Group {
	tables := f.asked()
	var out []Group
	for i, s := range f.sections {
		if s.like != "" {
			continue // tables within rows of another
		}
		g := Group{Head: s.head, Says: s.says, Usual: !s.unused, Repeat: strings.HasPrefix(s.head, "[[")}
		rows := 1
		if g.Repeat {
			rows = min(in.rows(s.path())+emptyRows, MaxStrings)
		}
		if s.head == "[[string]]" {
			rows = MaxStrings
		}
		for row := range rows {
			g.Rows = append(g.Rows, s.fields(tables[i], row, in.Units))
		}
		out = append(out, g)
	}
	return out
}

// path is the section's name in paths of fields.
func (s *section) path() string { return strings.Trim(s.head, "[]") }

// prefix is what paths of a row's fields begin with.
func (s *section) prefix(row int) string {
	switch {
	case s.head == "":
		return ""
	case strings.HasPrefix(s.head, "[["):
		return fmt.Sprintf("%s.%d.", s.path(), row)
	}
	return s.path() + "."
}

// fields are the fields of a row of the section. Units are those that lengths are told in.
func (s *section) fields(known []asked, row int, u Units) []Field {
	var out []Field
	for _, e := range s.entries {
		a, ok := find(known, e.key)
		if !ok {
			continue
		}
		x := Field{
			Key: Key{Section: s.head, Name: a.key, Required: a.need, Takes: a.takes(u.Name()), Says: u.Text(e.says)}, Path: s.prefix(row) + a.key,
			Choices: a.choices, List: strings.HasPrefix(a.kind, "a list"), stem: a.key, kind: a.kind,
		}
		if a.length {
			x.Name, x.Inches = a.key+"_mm", a.key+"_in"
		}
		out = append(out, x)
	}
	return out
}

// rows is how many rows of a table are filled in.
func (in *Filled) rows(path string) int {
	n := 0
	for at, typed := range in.Typed {
		rest, ok := strings.CutPrefix(at, path+".")
		number, _, _ := strings.Cut(rest, ".")
		if row, err := strconv.Atoi(number); ok && err == nil && typed != "" && row < MaxStrings {
			n = max(n, row+1)
		}
	}
	return n
}

// File writes what was typed as a file of the format. paths has, for every line of it, the
// path of its field, or of a table's head the path without a field. What is no number where
// one is wanted is written as a text, so that the reader of files refuses it with its own
// words.
func (f *Format) File(in Filled) (text string, paths []string) {
	var b strings.Builder
	line := func(path, format string, args ...any) {
		fmt.Fprintf(&b, format+"\n", args...)
		paths = append(paths, path)
	}
	tables := f.asked()
	for i, s := range f.sections {
		rows := 1
		switch {
		case s.like != "":
			continue
		case strings.HasPrefix(s.head, "[["):
			rows = in.rows(s.path())
		}
		for row := range rows {
			fields, filled := s.fields(tables[i], row, Millimetres), 0
			for _, x := range fields {
				if in.typed(x.Path) != "" {
					filled++
				}
			}
			if filled == 0 && (s.unused || s.head == "" || strings.HasPrefix(s.head, "[[")) {
				continue
			}
			if s.head != "" {
				line("", "")
				line(s.prefix(row), "%s", s.head)
			}
			for _, x := range fields {
				if typed := in.typed(x.Path); typed != "" {
					key, value := x.value(typed, in.Units)
					line(x.Path, "%s = %s", key, value)
				}
			}
		}
	}
	return b.String(), paths
}

func (in *Filled) typed(path string) string { return strings.TrimSpace(in.Typed[path]) }

// FieldOf is the path of the field that an error of a file is about, by the paths of its
// lines; "" where it is about none.
func FieldOf(e *Error, paths []string) string {
	if e.Line < 1 || e.Line > len(paths) {
		return ""
	}
	stem := e.Key
	for _, unit := range AllUnits() {
		stem = strings.TrimSuffix(stem, "_"+string(unit))
	}
	at := paths[e.Line-1]
	section := at[:strings.LastIndexByte(at, '.')+1] // of a key that is missing, its table's
	for _, name := range []string{e.Key, stem} {
		if at == section+name {
			return at
		}
	}
	return section + stem
}

// What may be typed: a number, also as ".010"; a length's unit.
var (
	typedNumber = regexp.MustCompile(`^([+-]?)([0-9]*\.?[0-9]+(?:[eE][+-]?[0-9]+)?)$`)
	typedUnit   = regexp.MustCompile(`(?i)^(.*?)\s*(mm|in|inch|inches|"|″)$`)
	listEnd     = regexp.MustCompile(`[,;\s]+`)
	textEnd     = regexp.MustCompile(`\s*[,;]\s*`)
)

// value is what was typed as the file has it: the key with its unit, and its value.
func (x *Field) value(typed string, units Units) (key, value string) {
	key = x.stem
	if x.Inches != "" {
		key += "_" + units.Name()
		if m := typedUnit.FindStringSubmatch(typed); m != nil {
			typed, key = m[1], x.stem+"_in"
			if strings.EqualFold(m[2], "mm") {
				key = x.stem + "_mm"
			}
		}
	}
	texts := x.kind == "text" || x.kind == "a list of texts" || x.Choices != nil
	if !x.List {
		return key, tomlScalar(typed, texts)
	}
	end := listEnd
	if texts {
		end = textEnd
	}
	var list []string
	for _, item := range end.Split(strings.Trim(typed, "[] \t,;"), -1) {
		list = append(list, tomlScalar(item, texts))
	}
	return key, "[" + strings.Join(list, ", ") + "]"
}

// tomlScalar writes what was typed as TOML: a number or a truth where it is one and no text
// is wanted, else a text.
func tomlScalar(typed string, text bool) string {
	m := typedNumber.FindStringSubmatch(typed)
	switch {
	case text:
	case m != nil && strings.HasPrefix(m[2], "."):
		return m[1] + "0" + m[2]
	case m != nil, typed == "true", typed == "false":
		return typed
	}
	return tomlText(typed)
}

// tomlText writes a text as a basic string of TOML.
func tomlText(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < ' ' || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	return b.String() + `"`
}

// Fill is the form of a file: the other way of [Format.File]. whole is false where the file
// says something that no field holds.
func (f *Format) Fill(name string, text []byte) (in Filled, whole bool, err error) {
	d, err := parse(name, text)
	if err != nil {
		return Filled{}, false, err
	}
	in = Filled{Units: Millimetres, Typed: map[string]string{}}
	tables := f.asked()
	filled, inches := 0, 0
	for pass := range 2 { // first which unit most lengths have
		filled = 0
		for i, s := range f.sections {
			if s.like != "" {
				continue
			}
			for row, t := range d.tablesOf(s.head) {
				for _, x := range s.fields(tables[i], row, Millimetres) {
					key, v := t.lookup(x.stem)
					if v == nil || v.table != nil {
						continue
					}
					filled++
					if strings.HasSuffix(key, "_in") {
						inches++
					}
					if strings.HasSuffix(key, "_mm") {
						inches--
					}
					in.Typed[x.Path] = v.typed() + otherSuffix(key, x, in.Units)
				}
			}
		}
		if pass == 0 && inches > 0 {
			in.Units = Inches
		}
	}
	return in, filled == d.top.leaves(), nil
}

// otherSuffix is the unit of a length whose key has another than the form's.
func otherSuffix(key string, x Field, units Units) string {
	if x.Inches == "" || strings.HasSuffix(key, "_"+units.Name()) {
		return ""
	}
	return " " + key[len(x.stem)+1:]
}

// tablesOf are the tables of a document under a head.
func (d *document) tablesOf(head string) []*table {
	at := []*table{d.top}
	for _, name := range strings.FieldsFunc(head, func(r rune) bool { return strings.ContainsRune("[].", r) }) {
		var next []*table
		for _, t := range at {
			v := t.values[name]
			if v == nil {
				continue
			}
			if v.table != nil {
				next = append(next, v.table)
			}
			for _, item := range v.list {
				if item.table != nil {
					next = append(next, item.table)
				}
			}
		}
		at = next
	}
	return at
}

// leaves counts the values of a table and of those in it that are no tables.
func (t *table) leaves() (n int) {
	for _, v := range t.values {
		n += v.leaves()
	}
	return n
}

func (v *value) leaves() (n int) {
	if v.table != nil {
		return v.table.leaves()
	}
	if v.kind != unstable.Array || len(v.list) == 0 || v.list[0].table == nil {
		return 1
	}
	for _, item := range v.list {
		n += item.leaves()
	}
	return n
}

// typed is the value as a person types it.
func (v *value) typed() string {
	if v.kind != unstable.Array {
		return v.text
	}
	var list []string
	for _, item := range v.list {
		list = append(list, item.text)
	}
	return strings.Join(list, ", ")
}
